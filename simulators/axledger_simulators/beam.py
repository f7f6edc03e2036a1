"""What a beam from one station toward another really hits.

Solids stand at their nominal places in the unit's axes (a few millimetres of steering or yaw do not matter to a
tyre). Target plates of other objects are round, ``PLATE_RADIUS_M``, and taken as facing the beam; marks of the
two objects a shot runs between never stand in its way, because a technician swings them aside.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from axledger.contract.errors import BadInput
from axledger.job.layout import BoxSolid, Solid, TyreSolid, Unit
from axledger_simulators.rotation import Vector
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["PLATE_RADIUS_M", "Hit", "distance_to_solid", "reading_m", "trace"]

PLATE_RADIUS_M = 0.030
_TOUCH_M = 1e-6  # a solid that the meter itself leans on is not in the way


@dataclass(frozen=True, slots=True)
class Hit:
    """What the beam ends on (a station, a solid or "wall") and how far away, m."""

    what: str
    distance_m: float


def reading_m(vehicle: SimulatedVehicle, start: str, end: str, folded: Collection[str] = ()) -> float:
    """Return the true length of the beam aimed from ``start`` to ``end``, m; ``folded`` targets are out of the way."""
    return trace(vehicle, start, end, folded=folded).distance_m


def trace(
    vehicle: SimulatedVehicle,
    start: str,
    end: str,
    *,
    folded: Collection[str] = (),
    past: bool = False,
    wall_m: float = 7.5,
) -> Hit:
    """Return the first thing hit. ``past``: the beam slips past the plate at ``end``; a wall is ``wall_m`` away.

    Raises ``UnknownName`` for a strange station and ``BadInput`` for two stations that differ in unit or are one.
    """
    (unit_id, station), (other_id, aimed) = vehicle.station(start), vehicle.station(end)
    if unit_id != other_id or start == end:
        raise BadInput(
            "no distance can be shot between these stations",
            found=f"{start} to {end}",
            allowed="two different stations of one unit",
            do="choose a pair within one unit",
        )
    here, there = vehicle.place_in_axes(start), vehicle.place_in_axes(end)
    reach_m = float(np.linalg.norm(there - here))
    direction = (there - here) / reach_m
    aside = {*folded, station.target, aimed.target}
    unit = next(unit for unit in vehicle.layout.unit if unit.id == unit_id)
    hits = [Hit("wall", wall_m) if past else Hit(end, reach_m)]
    hits += _plates_hit(vehicle, unit_id, here, direction, aside)
    hits += _solids_hit(unit, here, direction)
    return min(hits, key=lambda hit: hit.distance_m)


def _plates_hit(
    vehicle: SimulatedVehicle, unit_id: str, here: Vector, direction: Vector, aside: Collection[str]
) -> Iterator[Hit]:
    names = [s.name for s in vehicle.stations(unit_id) if s.target not in aside and s.mount.kind.value != "floor"]
    if not names:
        return
    to_plates = np.array([vehicle.place_in_axes(name) for name in names]) - here
    along_m = to_plates @ direction
    beside_m = np.linalg.norm(to_plates - along_m[:, None] * direction, axis=1)
    for number in np.flatnonzero((along_m > _TOUCH_M) & (beside_m < PLATE_RADIUS_M)):
        yield Hit(names[number], float(along_m[number]))


def _solids_hit(unit: Unit, here: Vector, direction: Vector) -> Iterator[Hit]:
    for solid in unit.solid:
        distance_m = distance_to_solid(solid, here, direction)
        if distance_m is not None:
            yield Hit(solid.name, distance_m)


def distance_to_solid(solid: Solid, here: Vector, direction: Vector) -> float | None:
    """Return where a ray from ``here`` along the unit vector ``direction`` enters ``solid``, m, or ``None``."""
    spans = _tyre_spans(solid, here, direction) if isinstance(solid, TyreSolid) else _box_spans(solid, here, direction)
    # inside a convex solid is inside all of its spans at once
    enter, leave = max(low for low, _ in spans), min(high for _, high in spans)
    return enter if _TOUCH_M < enter < leave else None


def _box_spans(box: BoxSolid, here: Vector, direction: Vector) -> list[tuple[float, float]]:
    extents = (box.x_m, box.y_m, box.z_m)
    return [_slab(float(here[n]), float(direction[n]), extent) for n, extent in enumerate(extents)]


def _tyre_spans(tyre: TyreSolid, here: Vector, direction: Vector) -> list[tuple[float, float]]:
    dx, dz = float(direction[0]), float(direction[2])
    x, z = float(here[0]) - tyre.x_m, float(here[2]) - tyre.z_m
    sides = _slab(float(here[1]), float(direction[1]), (min(tyre.y_m), max(tyre.y_m)))
    return [sides, _circle(x, z, dx, dz, tyre.radius_m)]


def _slab(at: float, step: float, extent: tuple[float, float]) -> tuple[float, float]:
    """Return the span of the ray, m, in which one coordinate lies within ``extent``."""
    low, high = extent
    if step == 0.0:
        return (-math.inf, math.inf) if low < at < high else (math.inf, -math.inf)
    first, second = (low - at) / step, (high - at) / step
    return min(first, second), max(first, second)


def _circle(x: float, z: float, dx: float, dz: float, radius: float) -> tuple[float, float]:
    """Return the span of the ray, m, inside a circle about the origin of the x-z plane."""
    square = dx * dx + dz * dz
    inside = x * x + z * z < radius * radius
    if square == 0.0:
        return (-math.inf, math.inf) if inside else (math.inf, -math.inf)
    half = x * dx + z * dz
    root_of = half * half - square * (x * x + z * z - radius * radius)
    if root_of <= 0.0:
        return math.inf, -math.inf
    root = math.sqrt(root_of)
    return (-half - root) / square, (-half + root) / square
