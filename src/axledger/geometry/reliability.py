"""Reliability of an adjusted network: tests of its readings, and what the tests can miss.

Sources: W. Baarda, "A testing procedure for use in geodetic networks" (1968) for the w-test, the smallest bias that
is found and external reliability; Z. Sidak, J. Am. Stat. Assoc. 62 (1967) for one level shared by several tests;
the incomplete gamma function by its series and its continued fraction (Abramowitz & Stegun 6.5.29, 6.5.31, 1964;
all from memory). A residual is adjusted minus observed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from axledger.geometry.adjustment import Adjusted, Array

__all__ = [
    "GlobalTest",
    "Rejection",
    "chi_squared_above",
    "chi_squared_limit",
    "critical_w",
    "detectability",
    "external_reliability",
    "global_test",
    "smallest_bias",
    "snoop",
    "w_tests",
]

_UNCHECKED = 1e-6
"""A redundancy below this is rounding: nothing checks the reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GlobalTest:
    """The weighted square sum against chi-squared: ``statistic``, its ``freedom``, the ``limit`` at ``level``."""

    statistic: float
    freedom: float
    limit: float
    level: float

    @property
    def passed(self) -> bool:
        """Tell whether the readings agree with each other as well as their standard deviations say."""
        return self.statistic <= self.limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejection:
    """One step of snooping: observation ``number``, its ``w``, the estimated ``error`` (observed - true), its sd."""

    number: int
    w: float
    error: float
    error_sd: float


def w_tests(residual: Array, redundancy: Array, sd: Array) -> Array:
    """Return Baarda's w of each observation ``(m,)``: standard normal without a slip; 0 where nothing checks it."""
    checked = redundancy > _UNCHECKED
    scale = sd * np.sqrt(np.where(checked, redundancy, 1.0))
    return np.where(checked, residual / scale, 0.0)


def critical_w(false_alarm: float, tests: int) -> float:
    """Return the limit of a two-sided w-test so that ``tests`` of them raise a false alarm with ``false_alarm``.

    Sidak: each test gets 1 - (1 - false_alarm)^(1 / tests), exact for independent tests, safe for these.
    """
    single = -math.expm1(math.log1p(-false_alarm) / max(tests, 1))
    return -NormalDist().inv_cdf(single / 2.0)


def detectability(critical: float, power: float) -> float:
    """Return delta0: the mean of w at which a test with limit ``critical`` rejects with probability ``power``."""
    return critical + NormalDist().inv_cdf(power)


def smallest_bias(sd: Array, redundancy: Array, delta0: float) -> Array:
    """Return the smallest error of each observation that is found at ``delta0``, in its unit; inf where unchecked."""
    checked = redundancy > _UNCHECKED
    root = np.sqrt(np.where(checked, redundancy, 1.0))
    return np.where(checked, sd * delta0 / root, np.inf)


def external_reliability(covariance: Array, jacobian: Array, sd: Array, bias: Array, gradients: Array) -> Array:
    """Return by how much each result moves when each observation hides ``bias``, ``(k, m)``.

    ``covariance`` ``(n, n)``, ``jacobian`` ``(m, n)``, ``sd`` and ``bias`` ``(m,)``, ``gradients`` ``(k, n)`` of the
    results by the parameters. An unseen bias (inf) moves a result without bound where it touches it at all.
    """
    influence: Array = gradients @ covariance @ (jacobian / sd[:, None] ** 2).T
    moved: Array = np.zeros_like(influence)
    np.multiply(influence, bias, out=moved, where=influence != 0.0)
    return moved


def chi_squared_above(value: float, freedom: float) -> float:
    """Return the probability that chi-squared with ``freedom`` (any positive number) exceeds ``value``."""
    half, x = freedom / 2.0, value / 2.0
    if x <= 0.0:
        return 1.0
    front = math.exp(half * math.log(x) - x - math.lgamma(half))
    if x < half + 1.0:
        return 1.0 - front * _series(half, x)
    return front * _continued_fraction(half, x)


def _series(half: float, x: float) -> float:
    term = total = 1.0 / half
    place = half
    while abs(term) > 1e-16 * abs(total):
        place += 1.0
        term *= x / place
        total += term
    return total


def _continued_fraction(half: float, x: float) -> float:
    """Sum the fraction from its front (Lentz's method, from memory)."""
    denominator = x + 1.0 - half
    ahead, behind = 1e300, 1.0 / denominator
    total = behind
    for step in range(1, 10_000):
        weight = -step * (step - half)
        denominator += 2.0
        behind = 1.0 / (weight * behind + denominator)
        ahead = denominator + weight / ahead
        total *= ahead * behind
        if abs(ahead * behind - 1.0) < 1e-15:
            break
    return total


def chi_squared_limit(level: float, freedom: float) -> float:
    """Return the value that chi-squared with ``freedom`` exceeds with probability ``level``."""
    low, high = 0.0, freedom + 10.0
    while chi_squared_above(high, freedom) > level:
        low, high = high, 2.0 * high
    for _ in range(200):
        middle = (low + high) / 2.0
        if not low < middle < high:
            break
        low, high = (middle, high) if chi_squared_above(middle, freedom) > level else (low, middle)
    return high


def global_test(square_sum: float, freedom: float, level: float) -> GlobalTest:
    """Test a weighted square sum with ``freedom``; with nothing redundant there is nothing to fail."""
    limit = chi_squared_limit(level, freedom) if freedom > _UNCHECKED else math.inf
    return GlobalTest(statistic=square_sum, freedom=freedom, limit=limit, level=level)


def snoop(
    adjust_without: Callable[[Collection[int]], tuple[Adjusted, Array]], critical: float, *, most: int = 10
) -> tuple[tuple[Rejection, ...], Adjusted]:
    """Reject observations one at a time, adjusting anew after each, until no ``w`` exceeds ``critical``.

    ``adjust_without(rejected)`` adjusts the network without the named observations and returns it with the standard
    deviations of those that are left, both in their own order. Returns what was rejected, in that order, and the last
    adjustment. Only the largest ``w`` counts each time: an error smears over its neighbours.
    """
    rejected: list[Rejection] = []
    adjusted, sd = adjust_without(())
    while len(rejected) < most:
        w = w_tests(adjusted.residual, adjusted.redundancy, sd)
        worst = int(np.argmax(np.abs(w)))
        if abs(float(w[worst])) <= critical:
            break
        gone = {rejection.number for rejection in rejected}
        left = [number for number in range(len(w) + len(gone)) if number not in gone]
        share = float(adjusted.redundancy[worst])
        rejected.append(
            Rejection(
                number=left[worst],
                w=float(w[worst]),
                error=-float(adjusted.residual[worst]) / share,
                error_sd=float(sd[worst]) / math.sqrt(share),
            )
        )
        adjusted, sd = adjust_without([rejection.number for rejection in rejected])
    return tuple(rejected), adjusted
