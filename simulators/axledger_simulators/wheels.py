"""How the wheels of a simulated vehicle stand and swing, by rotation matrices; nothing is shared with the solver.

A wheel's own axes are x ahead, y to the left along its spin axis, z up. Steering turns them about the kingpin, by
matrices built from two directions square to it. Spreads are invented; draws come from streams of their own, so that
the rest of a vehicle of a given seed is what it always was.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from axledger.job.layout import Axle, AxleKind, Reference, Unit
from axledger.job.tilts import FRAME_TILT, SWEEP_TILTS, WHEEL_TILTS, position_of, steered_to
from axledger_simulators.planting import PlantedFaults, UnitTruth
from axledger_simulators.rotation import Matrix, Vector, about_x, about_y, about_z

__all__ = ["UnitWheels", "WheelTruth", "draw_wheels"]

_SIDES = {1: "left", -1: "right"}
_OUTER_DEG = 20.0
_SEATING_DEG, _RUN_OUT_DEG, _PLATE_ZERO_DEG = 0.02, 0.10, 0.10
Wheel = tuple[str, int]
"""An axle's code and the side, +1 left, -1 right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelTruth:
    """One wheel, rad over the floor. ``phase_rad``: where its run-out stands, ``swept_phase_rad``: on a plate.

    ``turns_rad`` are the changes of its heading (counter-clockwise) with the steering to the left (+1) and right (-1).
    """

    camber_rad: float
    caster_rad: float = 0.0
    kingpin_rad: float = 0.0
    run_out_rad: float = 0.0
    phase_rad: float = 0.0
    swept_phase_rad: float = 0.0
    level_rad: float = 0.0
    plate_zero_rad: float = 0.0
    seating_rad: Mapping[str, float] = field(default_factory=dict[str, float])
    turns_rad: Mapping[int, float] = field(default_factory=dict[int, float])


def draw_wheels(unit: Unit, rng: np.random.Generator, faults: PlantedFaults) -> tuple[dict[Wheel, WheelTruth], float]:
    """Draw all wheels of ``unit`` and the frame's pitch (nose down positive), rad."""
    pitch_deg = float(rng.normal(0.0, 0.4)) * faults.deviations
    wheels: dict[Wheel, WheelTruth] = {}
    for axle in unit.axle:
        turns = _draw_turns(unit, axle, rng)
        caster_deg, kingpin_deg = (float(part) for part in rng.normal(0.0, (0.8, 0.4)))
        for side, word in _SIDES.items():
            name = f"{unit.id}.{axle.id}.{word}"
            wheels[axle.code, side] = _draw_wheel(
                name, axle, rng, faults, (caster_deg, kingpin_deg), {way: turns[way, side] for way in (1, -1)}
            )
    return wheels, math.radians(pitch_deg)


def _draw_turns(unit: Unit, axle: Axle, rng: np.random.Generator) -> dict[tuple[int, int], float]:
    """Draw by (way steered, side) how far a wheel turns: the outer one about 20 degrees, the inner one more."""
    aimed, off = rng.normal(0.0, 0.7, 2), rng.normal(0.0, 0.4, 2)
    base_m = axle.x_m - float(np.mean([other.x_m for other in _rear(unit)]))
    turns: dict[tuple[int, int], float] = {}
    for number, way in enumerate((1, -1)):
        outer_deg = _OUTER_DEG + float(aimed[number])
        inner_deg = outer_deg
        if base_m > 0.5:
            pivots_m = 2.0 * (axle.pivot_half_m or 0.0)
            inner_deg = math.degrees(math.atan(1.0 / (1.0 / math.tan(math.radians(outer_deg)) - pivots_m / base_m)))
        turns[way, way] = math.radians(way * (inner_deg + float(off[number])))
        turns[way, -way] = math.radians(way * outer_deg)
    return turns


def _draw_wheel(
    name: str, axle: Axle, rng: np.random.Generator, faults: PlantedFaults, shared_deg: tuple[float, float],
    turns_rad: Mapping[int, float],
) -> WheelTruth:  # fmt: skip
    k, kit = faults.deviations, faults.settings
    steers = axle.kind is AxleKind.STEER
    camber, caster, kingpin = (float(part) for part in rng.normal(0.0, (0.35 if steers else 0.12, 0.25, 0.25)))
    run_out, level, zero = (
        float(part) for part in rng.normal(0.0, (_RUN_OUT_DEG * math.sqrt(2.0), 1.0, _PLATE_ZERO_DEG))
    )
    phases = rng.uniform(-math.pi, math.pi, 2)
    tilts = ("face", "face-rolled", *SWEEP_TILTS)
    seatings = rng.normal(0.0, _SEATING_DEG, len(tilts)) * kit
    return WheelTruth(
        camber_rad=math.radians(faults.camber_deg.get(name, k * (0.2 * steers + camber))),
        caster_rad=math.radians(faults.caster_deg.get(name, 3.0 + k * (shared_deg[0] + caster))),
        kingpin_rad=math.radians(faults.kpi_deg.get(name, 6.0 + k * (shared_deg[1] + kingpin))),
        run_out_rad=math.radians(run_out * kit),
        phase_rad=float(phases[0]),
        swept_phase_rad=float(phases[1]),
        level_rad=math.radians(level * kit),
        plate_zero_rad=math.radians(zero * kit),
        seating_rad={tilt: math.radians(float(s)) for tilt, s in zip(tilts, seatings, strict=True)},
        turns_rad=turns_rad,
    )


def _rear(unit: Unit) -> list[Axle]:
    """Return the axles of the group with the first driven axle, else of the last one that does not steer."""
    driven = [axle.group for axle in unit.axle if axle.kind is AxleKind.DRIVEN]
    carrying = [axle.group for axle in reversed(unit.axle) if axle.kind is AxleKind.CARRYING]
    group = (*driven, *carrying, unit.axle[-1].group)[0]
    return [axle for axle in unit.axle if axle.group == group]


class UnitWheels:
    """The wheels of one unit: what instruments on them see, and their true results."""

    def __init__(
        self, unit: Unit, wheels: Mapping[Wheel, WheelTruth], pitch_rad: float, frame_seating_rad: float
    ) -> None:
        self.unit = unit
        self.wheels = wheels
        self.pitch_rad = pitch_rad
        self._frame_seating_rad = frame_seating_rad

    def reading(self, axle: Axle | None, side: int, tilt: str, *, truth: UnitTruth, world: Matrix) -> float:
        """Return what an ideal instrument shows, rad; ``world`` (3, 3) takes unit axes to the world's."""
        if tilt == FRAME_TILT:
            ahead = about_y(self.pitch_rad) @ np.array([1.0, 0.0, 0.0])
            return math.asin(float((world @ ahead)[2])) + self._frame_seating_rad
        if axle is None or tilt not in WHEEL_TILTS:
            raise ValueError(f"{tilt} is not read at a wheel")
        wheel = self.wheels[axle.code, side]
        way = steered_to(tilt, side)
        straight = self._straight(axle, side, truth)
        if tilt.startswith("plate-"):
            turned = _heading(self._swung(axle, side, way, straight)) - _heading(straight)
            return abs(way) * math.copysign(1.0, way) * turned + wheel.plate_zero_rad
        axes = self._swung(axle, side, way, straight) if way else straight
        if tilt.startswith("level-"):
            along = axes @ about_y(-wheel.level_rad) @ np.array([1.0, 0.0, 0.0])
            return math.asin(float((world @ along)[2])) + wheel.seating_rad[tilt]
        phase = wheel.swept_phase_rad if position_of(tilt) else wheel.phase_rad
        phase += math.pi if tilt == "face-rolled" else 0.0
        face = axes @ about_y(phase) @ about_x(-side * wheel.run_out_rad) @ np.array([0.0, float(side), 0.0])
        return -math.asin(float((world @ face)[2])) + wheel.seating_rad[tilt]

    def _straight(self, axle: Axle, side: int, truth: UnitTruth) -> Matrix:
        standing = truth.axles[axle.code]
        heading = standing.heading_rad(side) if axle.kind is AxleKind.STEER else standing.yaw_rad
        axes: Matrix = about_z(heading) @ about_x(-side * self.wheels[axle.code, side].camber_rad)
        return axes

    def _swung(self, axle: Axle, side: int, way: int, straight: Matrix) -> Matrix:
        """Return the wheel's axes once it is steered: the angle about the kingpin is sought by halving."""
        wheel = self.wheels[axle.code, side]
        wanted = _heading(straight) + wheel.turns_rad[way]
        kingpin = _basis(np.array([-math.tan(wheel.caster_rad), -side * math.tan(wheel.kingpin_rad), 1.0]))

        def at(angle_rad: float) -> Matrix:
            axes: Matrix = kingpin @ about_z(angle_rad) @ kingpin.T @ straight
            return axes

        return at(_sought(lambda angle: _heading(at(angle)) - wanted))

    def results(self, truth: UnitTruth) -> Iterator[tuple[str, float]]:
        """Yield true results by key, rad: all that any choice of parts can ask for."""
        yield f"{self.unit.id}.frame.pitch", self.pitch_rad
        for axle in self.unit.axle:
            for quantity, left, right in self._pairs(axle):
                key = f"{self.unit.id}.{axle.id}.{quantity}"
                yield from ((f"{key}.left", left), (f"{key}.right", right), (f"{key}.difference", left - right))
            if axle.kind is AxleKind.STEER:
                yield from self._turning(axle, truth)

    def _pairs(self, axle: Axle) -> Iterator[tuple[str, float, float]]:
        left, right = (self.wheels[axle.code, side] for side in _SIDES)
        yield "camber", left.camber_rad, right.camber_rad
        if axle.kind is AxleKind.STEER:
            # over the frame: a frame that is nose down leans the axes it carries forward with it
            yield "caster", left.caster_rad + self.pitch_rad, right.caster_rad + self.pitch_rad
            yield "kpi", left.kingpin_rad, right.kingpin_rad

    def _turning(self, axle: Axle, truth: UnitTruth) -> Iterator[tuple[str, float]]:
        key = f"{self.unit.id}.{axle.id}"
        for side, word in _SIDES.items():
            turns = self.wheels[axle.code, side].turns_rad
            yield f"{key}.turn.{word}.out", side * turns[side]
            yield f"{key}.turn.{word}.in", -side * turns[-side]
        if axle in _rear(self.unit):
            return
        pivots_m, base_m = 2.0 * (axle.pivot_half_m or 0.0), self._wheelbase(axle, truth)
        for side, word in _SIDES.items():
            inner = side * self.wheels[axle.code, side].turns_rad[side]
            outer = side * self.wheels[axle.code, -side].turns_rad[side]
            off = inner - _common_centre(outer, pivots_m, base_m)
            ideal = _common_centre(math.radians(_OUTER_DEG), pivots_m, base_m) - math.radians(_OUTER_DEG)
            yield f"{key}.toe-out-on-turns.{word}", ideal + off
            yield f"{key}.ackermann.{word}", off

    def _wheelbase(self, axle: Axle, truth: UnitTruth) -> float:
        def middle(one: Axle) -> Vector:
            return np.array([truth.axles[one.code].x_m, truth.axles[one.code].y_m])

        rear: Vector = np.mean([middle(other) for other in _rear(self.unit)], axis=0)
        ahead = np.array([1.0, 0.0])
        if self.unit.reference is Reference.AXLE_MIDDLES:
            line = middle(self.unit.axle[0]) - rear
            ahead = line / np.linalg.norm(line)
        return float((middle(axle) - rear) @ ahead)


def _common_centre(outer_rad: float, pivots_m: float, base_m: float) -> float:
    """Return the inner wheel's angle about the point on the rear axle's line that the outer one turns about."""
    beside_outer_m = base_m / math.tan(outer_rad)
    return math.atan2(base_m, beside_outer_m - pivots_m)


def _heading(axes: Matrix) -> float:
    """Return the heading of the wheel plane's trace on the floor from the wheel's axes."""
    return math.atan2(-float(axes[0, 1]), float(axes[1, 1]))


def _basis(direction: Vector) -> Matrix:
    """Return the rotation (3, 3) that takes z to ``direction``."""
    up = direction / np.linalg.norm(direction)
    first = np.cross(np.array([0.0, 1.0, 0.0]), up)
    first /= np.linalg.norm(first)
    basis: Matrix = np.stack((first, np.cross(up, first), up), axis=1)
    return basis


def _sought(height: Callable[[float], float]) -> float:
    """Return where ``height``, which rises, passes zero between -1.2 and 1.2 rad, by halving."""
    low, high = -1.2, 1.2
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if height(middle) < 0.0 else (low, middle)
    return (low + high) / 2.0
