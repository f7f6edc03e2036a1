"""The true results of a simulated vehicle, from points in the world by plain vector geometry.

Angles are positive counter-clockwise seen from above the floor, offsets positive to the left; everything is
projected on the floor plane the unit stands on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from axledger.job.layout import Axle, AxleKind, Reference, Unit
from axledger_simulators.planting import AxleTruth, UnitTruth
from axledger_simulators.rotation import Vector, about_z

__all__ = ["true_results"]

ToWorld = Callable[[Vector], Vector]


@dataclass(frozen=True, slots=True)
class _Ends:
    """Left and right points of one axle in the world, m: pivots (steer) or wheel centres, and wheel centres."""

    axle: Axle
    beam: tuple[Vector, Vector]
    wheels: tuple[Vector, Vector]
    headings: tuple[Vector, Vector]

    @property
    def middle(self) -> Vector:
        return (self.beam[0] + self.beam[1]) / 2


@dataclass(frozen=True, slots=True)
class _Line:
    """The reference line: a point, its forward direction and the direction to its left, all in the floor plane."""

    point: Vector
    forward: Vector
    left: Vector

    def heading(self, direction: Vector) -> float:
        return math.atan2(float(direction @ self.left), float(direction @ self.forward))

    def yaw(self, beam: tuple[Vector, Vector]) -> float:
        """Return the turn of an axle: its left end rearward is positive."""
        to_left = beam[0] - beam[1]
        return math.atan2(-float(to_left @ self.forward), float(to_left @ self.left))

    def offset(self, point: Vector) -> float:
        return float((point - self.point) @ self.left)

    def ahead(self, point: Vector) -> float:
        return float((point - self.point) @ self.forward)


def true_results(unit: Unit, truth: UnitTruth, to_world: ToWorld) -> dict[str, float]:
    """Return the results of one unit in SI (rad, m) by result key."""
    ends = [_ends(axle, truth.axles[axle.code], to_world) for axle in unit.axle]
    line = _reference(unit, truth, ends, to_world)
    found = {f"{unit.id}.{e.axle.id}.{key}": value for e in ends for key, value in _of_axle(unit, e, line)}
    if unit.reference is Reference.COUPLING and truth.pin_m is not None and len(_rear_group(ends)) > 1:
        first, pin = _rear_group(ends)[0], to_world(np.array([*truth.pin_m, 0.0]))
        found[f"{unit.id}.{first.axle.id}.squareness.own"] = _through(first.middle, pin, to_world).yaw(first.beam)
    for name in dict.fromkeys(axle.group for axle in unit.axle):
        group = [e for e in ends if e.axle.group == name]
        found.update((f"{unit.id}.{key}", value) for key, value in _of_group(group, line))
    if unit.kind == "powered":
        found.update((f"{unit.id}.{key}", value) for key, value in _wheelbase(ends, line))
    return found


def _ends(axle: Axle, truth: AxleTruth, to_world: ToWorld) -> _Ends:
    middle = np.array([truth.x_m, truth.y_m, 0.0])

    def pair(half_m: float) -> tuple[Vector, Vector]:
        left, right = (about_z(truth.yaw_rad) @ np.array([0.0, side * half_m, 0.0]) for side in (1, -1))
        return to_world(middle + left), to_world(middle + right)

    def pointing(angle_rad: float) -> Vector:
        return to_world(about_z(angle_rad) @ np.array([1.0, 0.0, 0.0])) - to_world(np.zeros(3))

    return _Ends(
        axle,
        pair(axle.pivot_half_m or axle.wheel_half_m),
        pair(axle.wheel_half_m),
        (pointing(truth.heading_left_rad), pointing(truth.heading_right_rad)),
    )


def _rear_group(ends: list[_Ends]) -> list[_Ends]:
    """Return the group of the first driven axle; where nothing is driven the last one that does not only steer."""
    for wanted, order in ((AxleKind.DRIVEN, ends), (AxleKind.CARRYING, ends[::-1]), (AxleKind.STEER, ends[::-1])):
        for found in order:
            if found.axle.kind is wanted:
                return [e for e in ends if e.axle.group == found.axle.group]
    return ends


def _mean(points: list[Vector]) -> Vector:
    mean: Vector = np.mean(points, axis=0)
    return mean


def _reference(unit: Unit, truth: UnitTruth, ends: list[_Ends], to_world: ToWorld) -> _Line:
    rear = _mean([e.middle for e in _rear_group(ends)])
    if unit.reference is Reference.AXLE_MIDDLES:
        back, front = rear, ends[0].middle
    elif unit.reference is Reference.COUPLING and truth.pin_m is not None:
        back, front = rear, to_world(np.array([*truth.pin_m, 0.0]))
    else:
        back, front = to_world(np.zeros(3)), to_world(np.array([1.0, 0.0, 0.0]))
    return _through(back, front, to_world)


def _through(back: Vector, front: Vector, to_world: ToWorld) -> _Line:
    floor_up = to_world(np.array([0.0, 0.0, 1.0])) - to_world(np.zeros(3))
    forward = (front - back) / float(np.linalg.norm(front - back))
    return _Line(back, forward, np.cross(floor_up, forward))


def _of_axle(unit: Unit, ends: _Ends, line: _Line) -> Iterator[tuple[str, float]]:
    yield "squareness", line.yaw(ends.beam)
    if ends.axle.kind is not AxleKind.STEER:
        yield "offset", line.offset(ends.middle)
        return
    left, right = (line.heading(direction) for direction in ends.headings)
    yield "toe.total", right - left
    yield "toe.left", -left
    yield "toe.right", right
    yield "toe.length", unit.toe_diameter_m * (math.sin(-left) + math.sin(right))
    yield "steering", (left + right) / 2
    if unit.reference is not Reference.AXLE_MIDDLES:
        yield "offset", line.offset(ends.middle)


def _of_group(group: list[_Ends], line: _Line) -> Iterator[tuple[str, float]]:
    driven = [e for e in group if e.axle.kind is AxleKind.DRIVEN]
    if driven:
        yield f"{driven[0].axle.id}.thrust", sum(line.yaw(e.beam) for e in driven) / len(driven)
    first = (driven or group)[0]
    for other in group:
        if other is first:
            continue
        yield f"{other.axle.id}.parallelism", line.yaw(other.beam) - line.yaw(first.beam)
        left, right = (line.ahead(first.wheels[n]) - line.ahead(other.wheels[n]) for n in (0, 1))
        yield f"{other.axle.id}.spacing", left - right
        if first.axle.kind is other.axle.kind is AxleKind.STEER:
            here, there = (sum(line.heading(direction) for direction in e.headings) / 2 for e in (first, other))
            yield f"{other.axle.id}.steering.difference", there - here


def _wheelbase(ends: list[_Ends], line: _Line) -> Iterator[tuple[str, float]]:
    """Yield the wheelbases; the steer wheels are taken as if steering were straight, on the axle's own line."""
    steer = next((e for e in ends if e.axle.kind is AxleKind.STEER), None)
    if steer is None:
        return
    rear = _rear_group(ends)
    left, right = (line.ahead(steer.wheels[n]) - line.ahead(_mean([e.wheels[n] for e in rear])) for n in (0, 1))
    head = next((e for e in rear if e.axle.kind is AxleKind.DRIVEN), rear[0])
    for name, value in (("left", left), ("right", right), ("difference", left - right)):
        yield f"{head.axle.id}.wheelbase.{name}", value
