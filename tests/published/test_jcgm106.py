"""Probabilities of conformity and guard bands of public guides."""

from __future__ import annotations

import math
from decimal import Decimal, localcontext

import pytest

from axledger.geometry.conformity import Rule, Verdict, conforming_probability, judge


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "probability", "digits"),
    [
        # JCGM 106:2012, examples of clause 7, from memory; recomputed independently
        pytest.param(-5.47, 0.05, None, -5.40, 0.919, 5e-4, id="upper limit, a voltage"),
        pytest.param(509.7, 8.6, 490.0, None, 0.989, 5e-4, id="lower limit, a pressure in kPa"),
        pytest.param(13.6, 1.8, 12.5, 16.3, 0.663, 5e-4, id="tolerance interval"),
        # suncal 1.7.1, tests of the specific risk, read; recomputed: 1 - 0.012419 and 1 - 0.105738
        pytest.param(10.0, 0.4, 9.0, 11.0, 1 - 0.012419, 5e-7, id="centred"),
        pytest.param(10.5, 0.4, 9.0, 11.0, 1 - 0.105738, 5e-7, id="off centre"),
    ],
)
def test_probability_of_conformity(
    value: float, u: float, lower: float | None, upper: float | None, probability: float, digits: float
) -> None:
    assert conforming_probability(value, u, lower, upper) == pytest.approx(probability, abs=digits)


def test_speed_limit_is_enforced_from_107() -> None:
    # JCGM 106:2012, example of speed enforcement, from memory: limit 100 km/h, u 2 % of the speed, 99.9 % certainty
    # of an offence; recomputed: 106.59 km/h, that is 107 in whole numbers
    def innocent(speed: float) -> float:
        return conforming_probability(speed, 0.02 * speed, None, 100.0)

    assert innocent(106.59) == pytest.approx(0.001, rel=5e-3)
    assert innocent(106.0) > 0.001 > innocent(107.0)


@pytest.mark.parametrize(
    ("guard_in_expanded_uncertainties", "risk"),
    # ILAC-G8:09/2019, guard bands of its table as multiples of U = 2 u; risks at the acceptance limit recomputed
    [(3.0, 9.87e-10), (1.5, 0.00135), (1.0, 0.02275), (0.83, 0.04846), (0.5, 0.15866), (0.0, 0.5)],
)
def test_worst_risk_at_the_acceptance_limit(guard_in_expanded_uncertainties: float, risk: float) -> None:
    u, upper = 0.01, 0.10
    value = upper - guard_in_expanded_uncertainties * 2 * u
    assert 1.0 - conforming_probability(value, u, None, upper) == pytest.approx(risk, rel=5e-3)


def test_risk_of_the_default_rule() -> None:
    # guard band of 1.65 u: one-sided risk 0.0495, recomputed
    assert 1.0 - conforming_probability(-1.65, 1.0, None, 0.0) == pytest.approx(0.0495, abs=5e-5)


@pytest.mark.parametrize(("rule", "acceptance"), [(Rule.GUARD_95, 0.0835), (Rule.GUARD_U, 0.0800)])
def test_iso_14253_acceptance_and_rejection_zones(rule: Rule, acceptance: float) -> None:
    # ISO 14253-1:2017, rule from secondary summaries; limits +/-0.10 with u 0.01, zones recomputed
    band = 0.10 - acceptance
    step = 1e-9
    for sign in (1.0, -1.0):
        for value, verdict in (
            (acceptance - step, Verdict.CONFORMS),
            (acceptance + step, Verdict.UNDECIDED),
            (0.10 + band - step, Verdict.UNDECIDED),
            (0.10 + band + step, Verdict.FAILS),
        ):
            assert judge(sign * value, 0.01, -0.10, 0.10, rule).verdict is verdict


def test_simple_acceptance_has_no_zone_between() -> None:
    # ILAC-G8:09/2019: guard band zero, risk up to one half
    assert judge(0.10, 0.01, -0.10, 0.10, Rule.SIMPLE).verdict is Verdict.CONFORMS
    assert judge(0.10 + 1e-12, 0.01, -0.10, 0.10, Rule.SIMPLE).verdict is Verdict.FAILS


def tail(deviation: int) -> float:
    """Return the normal tail beyond ``deviation`` >= 5 by its continued fraction in 50 decimal digits."""
    with localcontext() as context:
        context.prec = 50
        z = Decimal(deviation)
        fraction = z
        for term in range(400, 0, -1):
            fraction = z + term / fraction
        density = (-z * z / 2).exp() / Decimal(2 * math.pi).sqrt()
        return float(density / fraction)


@pytest.mark.parametrize("deviation", [5, 8, 12, 20, 30])
def test_far_tails_keep_their_digits(deviation: int) -> None:
    # computed by Laplace's continued fraction of the normal tail, from memory, in 50 digits
    far = tail(deviation)
    assert conforming_probability(float(deviation), 1.0, None, 0.0) == pytest.approx(far, rel=1e-12, abs=0.0)
    assert conforming_probability(-float(deviation), 1.0, 0.0, None) == pytest.approx(far, rel=1e-12, abs=0.0)
    both = conforming_probability(float(deviation), 1.0, -100.0, 0.0)
    assert both == pytest.approx(far, rel=1e-12, abs=0.0)
