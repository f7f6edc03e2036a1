"""The few amounts that bring the results of a unit inside their limits.

The amounts chosen make it most probable that all limits are met: the sum of the logarithms of the conformity
probabilities (JCGM 106:2012, 7.2) is greatest. For one result that is the middle of its limits; several are weighed
by their margins, each in units of its own u. The logarithm of a normal probability is concave, so there is one
optimum. Results are linear in what is moved over the millimetres of a range, to far below their u.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from axledger.geometry.adjustment import Array
from axledger.geometry.moves import Control, reached
from axledger.geometry.results import UnitGeometry, evaluate

__all__ = ["Bounded", "best_setting"]

_RIDGE_M = 0.1
"""Of two equally good settings the smaller is meant: its cost stays far below that of any limit."""
_FAR = 8.0
_SOFT = 3.0
"""A result out of reach counts as if its u were three times what it is too much by: a move that takes a seventh of
that off is still worth while (own figure)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounded:
    """A result with a limit: its key, value and standard uncertainty now, and its bounds, all in SI.

    ``value`` may differ a little from what the formula gives at ``x``: only its changes are taken from there.
    """

    key: str
    value: float
    u: float
    lower: float | None
    upper: float | None


def best_setting(
    unit: UnitGeometry, x: Array, controls: Sequence[Control], bounded: Sequence[Bounded], *, worth: float
) -> dict[str, float]:
    """Return amounts (m, by control name) of the fewest and smallest moves that serve the limits best.

    ``unit`` and ``x`` as ``moves.freed`` returns them; the amounts lie inside the ranges and on the steps. Fewest:
    one more control is used only where it raises the probability that all limits are met by the share ``worth``.
    Limits out of reach are approached as far as all controls together get.
    """
    if not controls or not bounded:
        return {}
    bench = _Bench(unit, x, controls, bounded)
    found: dict[str, float] = {}
    for block in bench.blocks():
        bench.accept_what_is_out_of_reach(block)
        amounts, chosen = _fewest(bench, block, worth)
        amounts = bench.linear_about(amounts).rounded(amounts, chosen)
        found |= {controls[n].name: float(amounts[n]) for n in block if amounts[n] != 0.0}
    return found


def _fewest(bench: _Bench, block: Sequence[int], worth: float) -> tuple[Array, tuple[int, ...]]:
    enough = bench.cost(bench.solved(block), block) + worth
    for count in range(len(block)):
        tried = [(bench.solved(chosen), chosen) for chosen in combinations(block, count)]
        best = min(tried, key=lambda one: bench.cost(*one))
        if bench.cost(*best) <= enough:
            return best
    return bench.solved(block), tuple(block)


class _Bench:
    """The results with limits as linear functions of the amounts, and what each setting of them costs."""

    def __init__(self, unit: UnitGeometry, x: Array, controls: Sequence[Control], bounded: Sequence[Bounded]) -> None:
        self._unit = unit
        self._x = x
        self._keys = [one.key for one in bounded]
        self._controls = controls
        at_x = {one.key: one.value.value for one in evaluate(unit, x)}
        self._besides = np.array([one.value - at_x[one.key] for one in bounded])
        self._linearise(np.zeros(len(controls)))
        self._u = np.array([one.u for one in bounded])
        self._lower = np.array([-math.inf if one.lower is None else one.lower for one in bounded])
        self._upper = np.array([math.inf if one.upper is None else one.upper for one in bounded])
        self._soft = np.zeros(len(bounded), dtype=np.bool_)
        self._sd = np.array([control.sd_m for control in controls])
        self._low = np.array([control.low_m for control in controls])
        self._high = np.array([control.high_m for control in controls])

    def _linearise(self, about: Array) -> None:
        """Write the results as value + effect @ amounts, exact at the amounts ``about``."""
        formulas = {one.key: one.value for one in evaluate(self._unit, reached(self._x, self._controls, about))}
        gradient = np.array([formulas[key].gradient for key in self._keys])
        slopes = np.zeros((len(self._x), len(self._controls)))
        for number, (control, amount) in enumerate(zip(self._controls, about, strict=True)):
            for effect in control.effects:
                slopes[effect.parameter, number] += effect.slope(float(amount))
        self._effect: Array = gradient @ slopes
        values = np.array([formulas[key].value for key in self._keys]) + self._besides
        self._value: Array = values - self._effect @ about

    def linear_about(self, amounts: Array) -> _Bench:
        """Return the bench with its results exact at ``amounts``."""
        other = copy.copy(self)
        other._linearise(amounts)
        return other

    def blocks(self) -> Iterator[tuple[int, ...]]:
        """Yield the controls in groups that share no result."""
        reach = np.abs(self._effect) * np.maximum(self._high, -self._low)
        touches = reach > 1e-3 * self._u[:, None]
        left = set(range(len(self._controls)))
        while left:
            group = {min(left)}
            while more := {
                n for n in left - group if any((touches[:, n] & touches[:, m]).any() for m in group)
            }:  # fmt: skip
                group |= more
            left -= group
            yield tuple(sorted(group))

    def _spread(self, chosen: Sequence[int]) -> Array:
        made = self._effect[:, chosen] * self._sd[list(chosen)]
        spread: Array = np.sqrt(self._u**2 + (made**2).sum(axis=1))
        return spread

    def accept_what_is_out_of_reach(self, block: Sequence[int]) -> None:
        """Let what all controls together cannot bring inside pull only weakly: nothing good is bent to ease it."""
        touched = np.any(self._effect[:, list(block)] != 0.0, axis=1)
        excess = self._excess(np.zeros(len(self._controls)))
        while True:
            out = (self._excess(self.solved(block)) > 0.0) & touched & (excess > 0.0) & ~self._soft
            if not out.any():
                return
            self._soft = self._soft | out
            self._u = np.where(out, _SOFT * excess, self._u)

    def _excess(self, amounts: Array) -> Array:
        """Return by how much each result lies outside its limits, zero inside."""
        values = self._value + self._effect @ amounts
        outside: Array = np.maximum(0.0, np.maximum(self._lower - values, values - self._upper))
        return outside

    def cost(self, amounts: Array, chosen: Sequence[int]) -> float:
        """Return minus the logarithm of the probability that all limits are met, and a trifle for size."""
        return self._downhill(amounts, chosen)[0]

    def _downhill(self, amounts: Array, chosen: Sequence[int]) -> tuple[float, Array, Array]:
        """Return cost, gradient ``(n,)`` and curvature ``(n, n)`` with respect to all amounts."""
        values, u = self._value + self._effect @ amounts, self._spread(chosen)
        terms = np.array([_missed(*one) for one in zip(values, u, self._lower, self._upper, strict=True)])
        ridge = _RIDGE_M**-2
        cost = float(terms[:, 0].sum()) + 0.5 * ridge * float(amounts @ amounts)
        gradient = self._effect.T @ terms[:, 1] + ridge * amounts
        curvature = (self._effect.T * terms[:, 2]) @ self._effect + ridge * np.eye(len(amounts))
        return cost, gradient, curvature

    def solved(self, chosen: Sequence[int], fixed: dict[int, float] | None = None) -> Array:
        """Return the best amounts ``(n,)`` with only ``chosen`` moved and ``fixed`` held; Newton within the ranges."""
        amounts = np.zeros(len(self._controls))
        for number, amount in (fixed or {}).items():
            amounts[number] = amount
        loose = np.array([n for n in chosen if n not in (fixed or {})], dtype=np.int64)
        for _ in range(60 if len(loose) else 0):
            cost, gradient, curvature = self._downhill(amounts, chosen)
            slope = gradient[loose]
            stuck = ((amounts[loose] <= self._low[loose]) & (slope > 0)) | (
                (amounts[loose] >= self._high[loose]) & (slope < 0)
            )
            free = loose[~stuck]
            if not len(free):
                break
            step = np.zeros_like(amounts)
            step[free] = -np.linalg.solve(curvature[np.ix_(free, free)], gradient[free])
            ahead = self._shorter(amounts, step, cost, chosen)
            if ahead is None or float(np.abs(ahead - amounts).max()) < 1e-7:
                break
            amounts = ahead
        return amounts

    def _shorter(self, amounts: Array, step: Array, cost: float, chosen: Sequence[int]) -> Array | None:
        for _ in range(20):
            ahead: Array = np.clip(amounts + step, np.minimum(self._low, amounts), np.maximum(self._high, amounts))
            if self.cost(ahead, chosen) < cost:
                return ahead
            step = step / 2
        return None

    def rounded(self, amounts: Array, chosen: Sequence[int]) -> Array:
        """Return the amounts on the steps: one control after the other, each time with the rest solved anew."""
        fixed: dict[int, float] = {}
        for number in sorted(chosen, key=lambda n: -self._controls[n].step_m):
            control = self._controls[number]
            below = math.floor(amounts[number] / control.step_m + 1e-9)
            near = [step * control.step_m for step in (below, below + 1)]
            inside = [one for one in near if control.low_m - 1e-9 <= one <= control.high_m + 1e-9] or [0.0]
            tried = [(self.solved(chosen, {**fixed, number: one}), one) for one in inside]
            amounts, fixed[number] = min(tried, key=lambda one: self.cost(one[0], chosen))
        return amounts


def _missed(value: float, u: float, lower: float, upper: float) -> tuple[float, float, float]:
    """Return -log of the probability to lie within the limits, and its first and second derivative by ``value``."""
    low, high = (lower - value) / u, (upper - value) / u
    if low > _FAR or high < -_FAR:  # the tail's asymptote: the probability itself would soon be zero
        z = max(low, -high)
        sign = -1.0 if low > 0 else 1.0
        return 0.5 * z * z + math.log(z) + 0.9189, sign * (z + 1.0 / z) / u, (1.0 - 1.0 / z**2) / u**2
    inside = 0.5 * (math.erfc(-high / math.sqrt(2.0)) - math.erfc(-low / math.sqrt(2.0)))
    if low > 0.0 or high < 0.0:
        inside = 0.5 * abs(math.erfc(abs(high) / math.sqrt(2.0)) - math.erfc(abs(low) / math.sqrt(2.0)))
    inside = max(inside, 1e-300)
    at_low, at_high = _density(low), _density(high)
    slope = (at_high - at_low) / (u * inside)
    bend = (_times(high, at_high) - _times(low, at_low)) / (u * u * inside)
    return -math.log(inside), slope, max(slope * slope + bend, 1e-9 / u**2)


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) if abs(z) < 38.0 else 0.0


def _times(z: float, density: float) -> float:
    return z * density if density else 0.0
