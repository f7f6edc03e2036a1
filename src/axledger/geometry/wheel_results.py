"""Results at the wheels: camber, caster, kingpin inclination, turned angles, toe-out on turns, frame pitch.

Camber is the wheel's inclination over the floor, straight ahead, top outward positive (ISO 8855:2011); caster is
positive when the top of the steering axis leans rearward, kingpin inclination when it leans inward. The network
knows caster over the floor; what is stated is caster over the frame: frame nose-down counts positive and is added
(TM 5-4210-229-14&P, para 4-162, subtracts it from the level-frame setting to get the reading to expect).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from axledger.geometry.formula import Formula
from axledger.geometry.traced import Traced, arctangent2, cosine, sine

__all__ = ["OUTER_RAD", "AxleWheels", "SteeredAxle", "frame_formula", "wheel_formulas"]

OUTER_RAD: Final = math.radians(20.0)
"""The outer wheel's angle that toe-out on turns is stated for (TM 9-8000, para 33-17)."""
_FLOOR = "the floor"
_FRAME = "the frame (floor slope and frame pitch taken out)"
_STRAIGHT = "straight ahead"
_SWEPT, _READ_OFF = 3.0, 6.0
"""How much coarser than toe the steering axis may be known, and an angle that a person reads off a scale."""

Number = Callable[[int], Traced]
"""Gives a parameter, by its number, as a traced value."""
Sides = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class SteeredAxle:
    """Parameter numbers of the left and right wheel of an axle that is swept; headings are of the axle, from square.

    ``pivots_m`` is the distance between the steering pivots.
    """

    caster: Sides
    kingpin: Sides
    straight: Sides
    turned_out: Sides
    turned_in: Sides
    pivots_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleWheels:
    """Parameter numbers of an axle's wheels. ``shown``: camber is a result of its own, not only a step to caster."""

    camber: Sides
    shown: bool
    steered: SteeredAxle | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axle:
    key: str
    name: str

    def formula(self, quantity: str, words: str, against: str, value: Traced, coarse: float) -> Formula:
        return Formula(
            key=f"{self.key}.{quantity}", name=f"{self.name}: {words}", unit="deg", against=against, value=value,
            coarse=coarse,
        )  # fmt: skip

    def pair(
        self, quantity: str, words: str, against: str, values: tuple[Traced, Traced], coarse: float = 1.0
    ) -> Iterator[Formula]:
        left, right = values
        yield self.formula(f"{quantity}.left", f"{words}, left wheel", against, left, coarse)
        yield self.formula(f"{quantity}.right", f"{words}, right wheel", against, right, coarse)
        yield self.formula(f"{quantity}.difference", f"{words}, left minus right", against, left - right, coarse)


def wheel_formulas(
    key: str, name: str, wheels: AxleWheels, number: Number, *, pitch: int | None, wheelbase_m: Traced | None
) -> Iterator[Formula]:
    """Yield the results of an axle's wheels; ``key`` is ``unit.axle``.

    ``pitch`` is the number of the frame's pitch, ``None`` where no reading of the frame is wanted: caster is then
    stated over the floor. Without ``wheelbase_m`` there is no turn centre to compare with.
    """
    axle = _Axle(key=key, name=name)
    if wheels.shown:
        yield from axle.pair("camber", "camber", _FLOOR, _both(number, wheels.camber))
    if wheels.steered is None:
        return
    left, right = _both(number, wheels.steered.caster)
    if pitch is not None:
        nose_down = number(pitch)
        left, right = left + nose_down, right + nose_down
    yield from axle.pair("caster", "caster", _FLOOR if pitch is None else _FRAME, (left, right), _SWEPT)
    yield from axle.pair("kpi", "kingpin inclination", _FLOOR, _both(number, wheels.steered.kingpin), _SWEPT)
    yield from _turns(axle, wheels.steered, number, wheelbase_m)


def _both(number: Number, sides: Sides) -> tuple[Traced, Traced]:
    return number(sides[0]), number(sides[1])


def _turns(axle: _Axle, steered: SteeredAxle, number: Number, wheelbase_m: Traced | None) -> Iterator[Formula]:
    straight = _both(number, steered.straight)
    outward, inward = (
        ((left - straight[0]), -(right - straight[1]))
        for left, right in (_both(number, steered.turned_out), _both(number, steered.turned_in))
    )
    for place, side in ((0, "left"), (1, "right")):
        yield axle.formula(f"turn.{side}.out", f"turned out, {side} wheel", _STRAIGHT, outward[place], _READ_OFF)
        yield axle.formula(f"turn.{side}.in", f"turned in, {side} wheel", _STRAIGHT, -inward[place], _READ_OFF)
    if wheelbase_m is None:
        return
    across, ahead = math.sin(OUTER_RAD), math.cos(OUTER_RAD)
    ideal = _inner(across, ahead, steered.pivots_m, wheelbase_m) - OUTER_RAD
    for place, side in ((0, "left"), (1, "right")):
        # in a turn to the left the left wheel is the inner one, turned out; the right one is outer, turned in
        outer = -inward[1 - place]
        off = outward[place] - _inner(sine(outer), cosine(outer), steered.pivots_m, wheelbase_m)
        words = f"toe-out on a turn to the {side}, outer wheel at {math.degrees(OUTER_RAD):.0f} deg"
        yield axle.formula(f"toe-out-on-turns.{side}", words, "the outer wheel", ideal + off, _READ_OFF)
        words = f"inner wheel on a turn to the {side}, over what a common turn centre asks"
        yield axle.formula(f"ackermann.{side}", words, "Ackermann geometry", off, _READ_OFF)


def _inner(across: Traced | float, ahead: Traced | float, pivots_m: float, wheelbase_m: Traced) -> Traced:
    """Return the inner wheel's angle for the sine and cosine of the outer one's: ``attitude.inner_angle``, traced."""
    return arctangent2(wheelbase_m * across, wheelbase_m * ahead - across * pivots_m)


def frame_formula(unit: str, name: str, pitch: Traced) -> Formula:
    """Return the frame's pitch over the floor, nose down positive."""
    return Formula(key=f"{unit}.frame.pitch", name=f"{name}: frame pitch", unit="deg", against=_FLOOR, value=pitch)
