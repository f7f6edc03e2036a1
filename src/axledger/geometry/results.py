"""Results of a unit: toe, squareness, offset, thrust, parallelism, wheelbase, as functions of the parameters.

Signs after ISO 8855:2011 (x forward, y left, angles counter-clockwise from above; static toe, cl. 7.1.6 and
7.1.7, positive for toe-in). Thrust angle positive to the left and offset positive to the left are our own
choice, as no public standard text fixes them; every print says it in words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from axledger.geometry.adjustment import Array
from axledger.geometry.formula import Formula, ResultUnit
from axledger.geometry.traced import Traced, arctangent2, constant, cosine, sine
from axledger.geometry.wheel_results import AxleWheels, frame_formula, wheel_formulas

__all__ = ["AxleGeometry", "Formula", "UnitGeometry", "evaluate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleGeometry:
    """An axle's parameter numbers (the network's size stands for a constant zero) and constants, m.

    ``x_m`` is the nominal place that parameter ``x`` deviates from. ``steer`` holds the left and right wheel's
    parameter for a steer axle.
    """

    id: str
    name: str
    group: str
    driven: bool
    x: int
    y: int
    yaw: int
    x_m: float
    wheel_half_m: float
    steer: tuple[int, int] | None = None
    wheels: AxleWheels | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitGeometry:
    """A unit: its axles front to rear and the reference its results are judged against."""

    id: str
    name: str
    powered: bool
    reference: Literal["frame", "axle-middles", "coupling"]
    pin_x_m: float
    toe_diameter_m: float
    axles: tuple[AxleGeometry, ...]
    pitch: int | None = None
    """The parameter number of the frame's pitch, where it is read."""

    @property
    def rear(self) -> tuple[AxleGeometry, ...]:
        """Return the rear group: that of the first driven axle, else of the last unsteered one, else of the last."""
        driven = [axle.group for axle in self.axles if axle.driven]
        unsteered = [axle.group for axle in reversed(self.axles) if axle.steer is None]
        group = (*driven, *unsteered, self.axles[-1].group)[0]
        return tuple(axle for axle in self.axles if axle.group == group)


class _Scene:
    """The parameters as traced numbers, and the unit's reference line."""

    def __init__(self, unit: UnitGeometry, x: Array) -> None:
        self.unit = unit
        self.size = len(x)
        self._x = x
        self.middles = {
            axle.id: (axle.x_m + self.parameter(axle.x), self.parameter(axle.y), self.parameter(axle.yaw))
            for axle in unit.axles
        }
        self.heading, self.origin = self._reference()
        self._ahead = (cosine(self.heading), sine(self.heading))
        self._turned = {name: (sine(yaw), cosine(yaw)) for name, (_, _, yaw) in self.middles.items()}

    def parameter(self, number: int) -> Traced:
        traced = constant(float(self._x[number]) if number < self.size else 0.0, self.size)
        if number < self.size:
            traced.gradient[number] = 1.0
        return traced

    def mean(self, values: Sequence[Traced]) -> Traced:
        return sum(values, constant(0.0, self.size)) * (1.0 / len(values))

    def rear_middle(self) -> tuple[Traced, Traced]:
        middles = [self.middles[axle.id] for axle in self.unit.rear]
        return self.mean([x for x, _, _ in middles]), self.mean([y for _, y, _ in middles])

    def _reference(self) -> tuple[Traced, tuple[Traced, Traced]]:
        zero = constant(0.0, self.size)
        if self.unit.reference == "frame":
            return zero, (zero, zero)
        rear = self.rear_middle()
        if self.unit.reference == "coupling":
            front = (zero + self.unit.pin_x_m, zero)
        else:
            front = self.middles[self.unit.axles[0].id][:2]
        return arctangent2(front[1] - rear[1], front[0] - rear[0]), rear

    def heading_to_pin(self, axle: AxleGeometry) -> Traced:
        x, y, _ = self.middles[axle.id]
        return arctangent2(0.0 - y, self.unit.pin_x_m - x)

    def yaw(self, axle: AxleGeometry) -> Traced:
        return self.middles[axle.id][2] - self.heading

    def steering(self, axle: AxleGeometry, steer: tuple[int, int]) -> Traced:
        left, right = (self.parameter(number) for number in steer)
        return self.yaw(axle) + (left + right) * 0.5

    def along(self, x: Traced, y: Traced) -> Traced:
        dx, dy = x - self.origin[0], y - self.origin[1]
        return dx * self._ahead[0] + dy * self._ahead[1]

    def aside(self, x: Traced, y: Traced) -> Traced:
        dx, dy = x - self.origin[0], y - self.origin[1]
        return dy * self._ahead[0] - dx * self._ahead[1]

    def wheel_centre(self, axle: AxleGeometry, side: int) -> tuple[Traced, Traced]:
        x, y, _ = self.middles[axle.id]
        across, along = self._turned[axle.id]
        reach = side * axle.wheel_half_m
        return x - across * reach, y + along * reach


_AGAINST = {"frame": "the frame line", "axle-middles": "the line of axle middles", "coupling": "the coupling line"}


def evaluate(unit: UnitGeometry, x: Array) -> tuple[Formula, ...]:
    """Return every result of ``unit`` at the parameters ``x`` ``(n,)``, front to rear."""
    scene = _Scene(unit, x)
    formulas: list[Formula] = []
    for axle in unit.axles:
        if axle.steer is not None:
            formulas += _steer(scene, axle, axle.steer)
        formulas += _axle(scene, axle)
        if axle.wheels is not None:
            formulas += _wheels(scene, axle, axle.wheels)
    if unit.pitch is not None:
        formulas.append(frame_formula(unit.id, unit.name, scene.parameter(unit.pitch)))
    formulas += _groups(scene)
    if unit.powered:
        formulas += _wheelbase(scene)
    return tuple(formulas)


_OWN_WHEELS = "the wheels of the axle"
_OWN_LINE = "the line from the pin to its own middle"


def _formula(
    scene: _Scene, axle: AxleGeometry, quantity: str, name: str, unit: ResultUnit, value: Traced, against: str = ""
) -> Formula:
    return Formula(
        key=f"{scene.unit.id}.{axle.id}.{quantity}",
        name=f"{axle.name}: {name}",
        unit=unit,
        against=against or _AGAINST[scene.unit.reference],
        value=value,
    )


def _steer(scene: _Scene, axle: AxleGeometry, steer: tuple[int, int]) -> Iterator[Formula]:
    left, right = (scene.yaw(axle) + scene.parameter(number) for number in steer)
    toe_left, toe_right = -left, right
    length = (sine(toe_left) + sine(toe_right)) * scene.unit.toe_diameter_m
    yield _formula(scene, axle, "toe.total", "total toe", "deg", toe_left + toe_right, _OWN_WHEELS)
    yield _formula(scene, axle, "toe.left", "toe, left wheel", "deg", toe_left)
    yield _formula(scene, axle, "toe.right", "toe, right wheel", "deg", toe_right)
    at = f"total toe at {scene.unit.toe_diameter_m * 1000:.0f} mm"
    yield _formula(scene, axle, "toe.length", at, "mm", length, _OWN_WHEELS)
    yield _formula(scene, axle, "steering", "steering position", "deg", scene.steering(axle, steer))


def _axle(scene: _Scene, axle: AxleGeometry) -> Iterator[Formula]:
    yield _formula(scene, axle, "squareness", "squareness", "deg", scene.yaw(axle))
    if scene.unit.reference == "coupling" and len(scene.unit.rear) > 1 and axle is scene.unit.rear[0]:
        # needs no target that tells where the axles stand sideways, so that a short walk has it too
        own = scene.middles[axle.id][2] - scene.heading_to_pin(axle)
        yield _formula(scene, axle, "squareness.own", f"squareness to {_OWN_LINE}", "deg", own, _OWN_LINE)
    at_origin = scene.unit.reference == "axle-middles" and axle is scene.unit.axles[0]
    alone = scene.unit.reference != "frame" and len(scene.unit.rear) == 1 and axle in scene.unit.rear
    if not at_origin and not alone:  # the reference line passes through these middles by definition
        x, y, _ = scene.middles[axle.id]
        yield _formula(scene, axle, "offset", "lateral offset", "mm", scene.aside(x, y))


def _first(group: Sequence[AxleGeometry]) -> AxleGeometry:
    """Return the axle that others are judged against: what drives, on whichever side of it the others stand."""
    return next((axle for axle in group if axle.driven), group[0])


def _wheels(scene: _Scene, axle: AxleGeometry, wheels: AxleWheels) -> Iterator[Formula]:
    key, base = f"{scene.unit.id}.{axle.id}", None
    if wheels.steered is not None and axle not in scene.unit.rear:
        base = scene.along(*scene.middles[axle.id][:2]) - scene.along(*scene.rear_middle())
    yield from wheel_formulas(key, axle.name, wheels, scene.parameter, pitch=scene.unit.pitch, wheelbase_m=base)


def _groups(scene: _Scene) -> Iterator[Formula]:
    names = dict.fromkeys(axle.group for axle in scene.unit.axles)
    for group in ([axle for axle in scene.unit.axles if axle.group == name] for name in names):
        if driven := [axle for axle in group if axle.driven]:
            thrust = scene.mean([scene.yaw(axle) for axle in driven])
            yield _formula(scene, driven[0], "thrust", "thrust angle", "deg", thrust)
        first = _first(group)
        for later in (axle for axle in group if axle is not first):
            apart = scene.yaw(later) - scene.yaw(first)
            yield _formula(scene, later, "parallelism", f"parallelism to {first.name}", "deg", apart, first.name)
            left, right = (
                scene.along(*scene.wheel_centre(first, side)) - scene.along(*scene.wheel_centre(later, side))
                for side in (1, -1)
            )
            words = f"spacing to {first.name}, left minus right"
            yield _formula(scene, later, "spacing", words, "mm", left - right, first.name)
            if first.steer is not None and later.steer is not None:
                turned = scene.steering(later, later.steer) - scene.steering(first, first.steer)
                words = f"steering position less that of {first.name}"
                yield _formula(scene, later, "steering.difference", words, "deg", turned, first.name)


def _wheelbase(scene: _Scene) -> Iterator[Formula]:
    steer, rear = scene.unit.axles[0], scene.unit.rear
    if steer.steer is None or steer in rear:
        return
    left, right = (
        scene.along(*scene.wheel_centre(steer, side))
        - scene.mean([scene.along(*scene.wheel_centre(axle, side)) for axle in rear])
        for side in (1, -1)
    )
    head = _first(rear)
    yield _formula(scene, head, "wheelbase.left", "wheelbase, left", "mm", left)
    yield _formula(scene, head, "wheelbase.right", "wheelbase, right", "mm", right)
    yield _formula(scene, head, "wheelbase.difference", "wheelbase, left minus right", "mm", left - right)
