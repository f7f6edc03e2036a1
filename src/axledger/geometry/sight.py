"""Line of sight in space: whether a beam between two points passes free of tyres and boxes.

A solid is grown by the clearance the beam needs, then the segment is cut with it: slabs for a box, a quadratic
for a cylinder about the y axis. Nothing is sampled, so no thin solid slips through. A grown edge stays square,
where a ball rolling over the solid would round it: cautious by at most 0.41 of the clearance at an edge and
0.73 at a corner.
Method of slabs: Kay and Kajiya, "Ray tracing complex scenes" (1986), from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

__all__ = ["Box", "Clearance", "Cylinder", "Place", "blockers"]

Place = tuple[float, float, float]
Span = tuple[float, float]

_EMPTY: Span = (1.0, 0.0)
_ALL: Span = (-math.inf, math.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """The room a beam needs, m: ``free_m`` all along, ``near_m`` within ``reach_m`` of either end.

    The defaults are working figures of our own; near the ends the hand sees what it does.
    """

    free_m: float = 0.015
    near_m: float = 0.004
    reach_m: float = 0.120


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box along the axes; ``x_m``, ``y_m``, ``z_m`` are its extents, least first."""

    name: str
    x_m: Span
    y_m: Span
    z_m: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """A cylinder about the y axis through ``(x_m, z_m)``; ``y_m`` is its extent, least first."""

    name: str
    x_m: float
    z_m: float
    radius_m: float
    y_m: Span


Solid = Box | Cylinder


def blockers(start: Place, end: Place, solids: Iterable[Solid], clearance: Clearance | None = None) -> tuple[str, ...]:
    """Return the names of the ``solids`` in the way of the beam from ``start`` to ``end`` (m), each once.

    A beam at exactly the clearance is free. Both directions give the same answer, to the last bit.
    """
    near, far = sorted((start, end))
    pieces = tuple(_pieces(near, far, clearance or Clearance()))
    names = (solid.name for solid in solids if any(_cuts(near, far, span, solid, grow) for span, grow in pieces))
    return tuple(dict.fromkeys(names))


def _pieces(start: Place, end: Place, clearance: Clearance) -> Iterator[tuple[Span, float]]:
    """Yield the stretches of the segment, in parts of its length, with the clearance each needs."""
    length = math.dist(start, end)
    if length <= 2 * clearance.reach_m:
        yield (0.0, 1.0), clearance.near_m
        return
    reach = clearance.reach_m / length
    yield (0.0, reach), clearance.near_m
    yield (reach, 1.0 - reach), clearance.free_m
    yield (1.0 - reach, 1.0), clearance.near_m


def _cuts(start: Place, end: Place, span: Span, solid: Solid, grow: float) -> bool:
    inside = _in_box(start, end, solid, grow) if isinstance(solid, Box) else _in_cylinder(start, end, solid, grow)
    shared = _both(inside, span)
    return shared[0] < shared[1]


def _both(first: Span, second: Span) -> Span:
    return max(first[0], second[0]), min(first[1], second[1])


def _in_box(start: Place, end: Place, box: Box, grow: float) -> Span:
    inside = _ALL
    for axis, extent in enumerate((box.x_m, box.y_m, box.z_m)):
        inside = _both(inside, _in_slab(start[axis], end[axis], extent, grow))
    return inside


def _in_cylinder(start: Place, end: Place, cylinder: Cylinder, grow: float) -> Span:
    slab = _in_slab(start[1], end[1], cylinder.y_m, grow)
    return _both(slab, _in_circle(start, end, cylinder, cylinder.radius_m + grow))


def _in_slab(start: float, end: float, extent: Span, grow: float) -> Span:
    """Return where ``start + t (end - start)`` lies strictly inside the grown extent."""
    low, high = extent[0] - grow, extent[1] + grow
    step = end - start
    if step == 0.0:
        return _ALL if low < start < high else _EMPTY
    first, last = (low - start) / step, (high - start) / step
    return (first, last) if first <= last else (last, first)


def _in_circle(start: Place, end: Place, cylinder: Cylinder, radius: float) -> Span:
    """Return where the segment lies strictly within ``radius`` of the cylinder's axis, seen from the side."""
    x, z = start[0] - cylinder.x_m, start[2] - cylinder.z_m
    dx, dz = end[0] - start[0], end[2] - start[2]
    square = dx * dx + dz * dz
    if square == 0.0:
        return _ALL if math.hypot(x, z) < radius else _EMPTY
    # the distance of the line from the axis enters as a cross product: no cancellation for far starts
    rest = square * radius * radius - (x * dz - z * dx) ** 2
    if rest <= 0.0:
        return _EMPTY
    middle, half = -(x * dx + z * dz) / square, math.sqrt(rest) / square
    return middle - half, middle + half
