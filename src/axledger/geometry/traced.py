"""Numbers that carry their gradient: exact first derivatives of the results.

Results are short formulas of the network's parameters. Writing each formula once, over traced numbers, gives
its value and its analytic gradient together, so the covariance of every result follows from one place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from axledger.geometry.adjustment import Array

__all__ = ["Traced", "arctangent2", "constant", "cosine", "sine"]


@dataclass(frozen=True, slots=True)
class Traced:
    """A ``value`` and its ``gradient`` ``(n,)`` with respect to the parameters."""

    value: float
    gradient: Array

    def __add__(self, other: Traced | float) -> Traced:
        if isinstance(other, Traced):
            return Traced(self.value + other.value, self.gradient + other.gradient)
        return Traced(self.value + other, self.gradient)

    __radd__ = __add__

    def __neg__(self) -> Traced:
        return Traced(-self.value, -self.gradient)

    def __sub__(self, other: Traced | float) -> Traced:
        return self + (-other)

    def __rsub__(self, other: float) -> Traced:
        return (-self) + other

    def __mul__(self, other: Traced | float) -> Traced:
        if isinstance(other, Traced):
            return Traced(self.value * other.value, self.gradient * other.value + other.gradient * self.value)
        return Traced(self.value * other, self.gradient * other)

    __rmul__ = __mul__


def constant(value: float, size: int) -> Traced:
    """Return a number that depends on none of ``size`` parameters."""
    return Traced(value, np.zeros(size))


def sine(angle: Traced) -> Traced:
    """Return the sine of an angle in radians."""
    return Traced(math.sin(angle.value), angle.gradient * math.cos(angle.value))


def cosine(angle: Traced) -> Traced:
    """Return the cosine of an angle in radians."""
    return Traced(math.cos(angle.value), angle.gradient * -math.sin(angle.value))


def arctangent2(y: Traced, x: Traced) -> Traced:
    """Return the angle of the vector ``(x, y)``, rad."""
    square = x.value**2 + y.value**2
    return Traced(math.atan2(y.value, x.value), (y.gradient * x.value - x.gradient * y.value) / square)
