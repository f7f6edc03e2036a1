"""Verdicts: conformity of a value with limits under a decision rule.

Sources: JCGM 106:2012 (probability of conformity), ISO 14253-1:2017 (uncertainty counts against whoever makes
the claim; default 95 %), ILAC-G8:09/2019 (guard bands). The default guard band is 1.65 u on each side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

__all__ = ["Judgement", "Rule", "Verdict", "conforming_probability", "judge", "zone_left"]


class Verdict(Enum):
    """What may be said of a value and its limits."""

    CONFORMS = "conforms"
    FAILS = "does not conform"
    UNDECIDED = "undecided"
    UNDETERMINED = "not determined"
    NO_LIMIT = "no limit"


class Rule(Enum):
    """A decision rule; its guard band is ``factor`` times the standard uncertainty."""

    GUARD_95 = "guard 1.65 u"
    GUARD_U = "guard U"
    SIMPLE = "simple acceptance"

    @property
    def factor(self) -> float:
        """Return the guard band in units of u: 1.65 is the one-sided 95 % point, U is 2 u."""
        return _FACTORS[self]


_FACTORS = {Rule.GUARD_95: 1.65, Rule.GUARD_U: 2.0, Rule.SIMPLE: 0.0}


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and the probability that the true value lies within the limits (``None``: no limit)."""

    verdict: Verdict
    probability: float | None


def conforming_probability(value: float, u: float, lower: float | None, upper: float | None) -> float:
    """Return the probability that a normal quantity ``(value, u)``, u > 0, lies within the limits (JCGM 106, 7.2).

    Far outside the limits the small probability keeps its digits.
    """
    to_lower = -math.inf if lower is None else (lower - value) / u
    to_upper = math.inf if upper is None else (upper - value) / u
    # tails are always taken on their own side of the value: one minus the other side loses every digit far out
    if to_lower > 0.0:
        return max(0.0, _tail(to_lower) - _tail(to_upper))
    if to_upper < 0.0:
        return max(0.0, _tail(-to_upper) - _tail(-to_lower))
    return max(0.0, 1.0 - _tail(-to_lower) - _tail(to_upper))


def _tail(deviation: float) -> float:
    """Return the probability that a standard normal quantity exceeds ``deviation``."""
    return 0.5 * math.erfc(deviation / math.sqrt(2.0))


def judge(value: float, u: float, lower: float | None, upper: float | None, rule: Rule = Rule.GUARD_95) -> Judgement:
    """Judge ``value`` with standard uncertainty ``u`` > 0 against one- or two-sided limits, all in one unit.

    Conformity is shown inside the limits shrunk by the guard band, nonconformity outside the limits widened by
    it; between them the verdict is undecided. Simple acceptance has no guard band and so no undecided zone.
    """
    if lower is None and upper is None:
        return Judgement(Verdict.NO_LIMIT, None)
    guard = rule.factor * u
    probability = conforming_probability(value, u, lower, upper)
    inside = (lower is None or value >= lower + guard) and (upper is None or value <= upper - guard)
    outside = (lower is not None and value < lower - guard) or (upper is not None and value > upper + guard)
    verdict = Verdict.CONFORMS if inside else Verdict.FAILS if outside else Verdict.UNDECIDED
    return Judgement(verdict, probability)


def zone_left(u: float, lower: float | None, upper: float | None, rule: Rule = Rule.GUARD_95) -> float:
    """Return the share of the tolerance in which conformity can be shown, 0 to 1 (1 for a one-sided limit)."""
    if lower is None or upper is None:
        return 1.0
    return max(0.0, 1.0 - 2.0 * rule.factor * u / (upper - lower))
