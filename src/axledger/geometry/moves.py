"""Moves: what an adjuster does to the parameters of a unit.

A control is one thing that can be moved by one amount, in metres. Its effects are exact in the plane up to the
second-order sideways shift of an axle that swings about one mount (3 mm at 0.9 m: 0.005 mm).

One mount moved with the other as pivot turns the axle by atan(d / s) with s the distance between the mounts: the
first move is the difference between left and right times s / b, with b the track it was taken over. Turned about
the middle, each end moves half the difference; about one end, that end moves the whole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from axledger.geometry.adjustment import Array
from axledger.geometry.results import AxleGeometry, UnitGeometry

__all__ = ["Control", "Effect", "first_move", "freed", "reached"]


@dataclass(frozen=True, slots=True)
class Effect:
    """A move of ``d`` metres changes ``parameter`` by ``factor`` times d, atan(d / lever) or asin(d / lever).

    ``lever_m`` is zero for a plain shift; ``by_sine`` for a rod at a steering arm, whose end stays on its circle.
    """

    parameter: int
    factor: float
    lever_m: float = 0.0
    by_sine: bool = False

    def change(self, amount_m: float) -> float:
        """Return the change of the parameter, m or rad."""
        if not self.lever_m:
            return self.factor * amount_m
        ratio = amount_m / self.lever_m
        return self.factor * (math.asin(max(-1.0, min(1.0, ratio))) if self.by_sine else math.atan(ratio))

    def slope(self, amount_m: float) -> float:
        """Return the derivative of the change, 1 or rad/m."""
        if not self.lever_m:
            return self.factor
        square = min((amount_m / self.lever_m) ** 2, 0.99)
        bend = 1.0 / math.sqrt(1.0 - square) if self.by_sine else 1.0 / (1.0 + square)
        return self.factor * bend / self.lever_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """One thing to be moved: its range, the finest step that can be set, and how well a move is made, all in m."""

    name: str
    effects: tuple[Effect, ...]
    low_m: float
    high_m: float
    step_m: float
    sd_m: float


def first_move(difference_m: float, mount_spacing_m: float, track_m: float) -> float:
    """Return the move at one mount, the other as pivot, for a left-right difference over ``track_m``, m: d s / b."""
    return difference_m * mount_spacing_m / track_m


def freed(unit: UnitGeometry, x: Array) -> tuple[UnitGeometry, Array]:
    """Return the unit and ``x`` with a parameter for every axle's place, also where the datum held it at zero.

    A move may be made at the very axle that the datum stands on; results are differences and do not mind.
    """
    size, values = len(x), list(x)
    axles: list[AxleGeometry] = []
    for axle in unit.axles:
        numbers = [axle.x, axle.y]
        for place, number in enumerate(numbers):
            if number >= size:
                numbers[place] = len(values)
                values.append(0.0)
        axles.append(replace(axle, x=numbers[0], y=numbers[1]))
    return replace(unit, axles=tuple(axles)), np.array(values)


def reached(x: Array, controls: Sequence[Control], amounts_m: Sequence[float] | Array) -> Array:
    """Return the parameters ``x`` after the moves ``amounts_m``, one for each control."""
    after = np.array(x, dtype=np.float64)
    for control, amount in zip(controls, amounts_m, strict=True):
        for effect in control.effects:
            after[effect.parameter] += effect.change(amount)
    return after
