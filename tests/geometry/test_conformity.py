from __future__ import annotations

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from axledger.geometry.conformity import Judgement, Rule, Verdict, conforming_probability, judge, zone_left

value = st.floats(-10.0, 10.0)
spread = st.floats(1e-3, 5.0)
rule = st.sampled_from(Rule)


def test_without_limits_nothing_is_judged() -> None:
    assert judge(1.0, 0.1, None, None) == Judgement(Verdict.NO_LIMIT, None)


@pytest.mark.parametrize(
    ("at", "verdict"),
    [
        (-3.0, Verdict.FAILS), (-1.66, Verdict.FAILS), (-1.64, Verdict.UNDECIDED), (1.64, Verdict.UNDECIDED),
        (1.66, Verdict.CONFORMS), (10.0, Verdict.CONFORMS),
    ],
)  # fmt: skip
def test_one_lower_limit(at: float, verdict: Verdict) -> None:
    assert judge(at, 1.0, 0.0, None).verdict is verdict
    assert judge(-at, 1.0, None, 0.0).verdict is verdict


def test_limits_too_narrow_for_the_uncertainty_are_never_shown_to_be_met() -> None:
    assert judge(0.0, 1.0, -1.0, 1.0).verdict is Verdict.UNDECIDED
    assert zone_left(1.0, -1.0, 1.0) == 0.0


@pytest.mark.parametrize(("u", "left"), [(0.0, 1.0), (0.1, 0.835), (0.5, 0.175), (0.7, 0.0)])
def test_zone_left(u: float, left: float) -> None:
    # computed by hand: 1 - 2 * 1.65 u / 2
    assert zone_left(u, -1.0, 1.0) == pytest.approx(left, abs=1e-12)
    assert zone_left(u, None, 1.0) == zone_left(u, -1.0, None) == 1.0
    assert zone_left(u, -1.0, 1.0, Rule.SIMPLE) == 1.0


@given(value, spread, st.floats(-5.0, 5.0), st.floats(0.0, 5.0))
def test_probability_against_an_independent_normal(at: float, u: float, lower: float, width: float) -> None:
    found = conforming_probability(at, u, lower, lower + width)
    low, high = (lower - at) / u, (lower + width - at) / u
    # the side on which both tails are small keeps the digits
    expected = norm.cdf(high) - norm.cdf(low) if high < 0 else norm.sf(low) - norm.sf(high)
    assert found == pytest.approx(float(expected), rel=1e-9, abs=1e-15)
    assert 0.0 <= found <= 1.0


@given(value, spread, st.floats(-5.0, 5.0))
def test_two_one_sided_limits_at_one_place_share_the_probability(at: float, u: float, limit: float) -> None:
    both = conforming_probability(at, u, limit, None) + conforming_probability(at, u, None, limit)
    assert both == pytest.approx(1.0, abs=1e-15)
    assert conforming_probability(at, u, None, limit) == pytest.approx(NormalDist(at, u).cdf(limit), abs=1e-12)


@given(value, spread, st.floats(-5.0, 0.0), st.floats(0.0, 5.0), rule)
def test_mirror(at: float, u: float, lower: float, upper: float, chosen: Rule) -> None:
    here, there = judge(at, u, lower, upper, chosen), judge(-at, u, -upper, -lower, chosen)
    assert here.verdict is there.verdict
    assert here.probability == pytest.approx(there.probability, abs=1e-15)


@given(value, spread, st.floats(-5.0, 0.0), st.floats(0.0, 5.0))
def test_a_wider_guard_never_decides_more(at: float, u: float, lower: float, upper: float) -> None:
    by_rule = {chosen: judge(at, u, lower, upper, chosen).verdict for chosen in Rule}
    assert by_rule[Rule.SIMPLE] is not Verdict.UNDECIDED
    for wider, narrower in ((Rule.GUARD_U, Rule.GUARD_95), (Rule.GUARD_95, Rule.SIMPLE)):
        if by_rule[wider] is not Verdict.UNDECIDED:
            assert by_rule[wider] is by_rule[narrower]


@given(value, spread, st.floats(-5.0, 0.0), st.floats(0.1, 5.0))
def test_what_conforms_by_default_is_likely_and_what_fails_unlikely(
    at: float, u: float, lower: float, upper: float
) -> None:
    judgement = judge(at, u, lower, upper)
    assert judgement.probability is not None
    # inside one guard band of each limit either tail is at most 0.0495
    if judgement.verdict is Verdict.CONFORMS:
        assert judgement.probability >= 1.0 - 2 * 0.04948
    if judgement.verdict is Verdict.FAILS:
        assert judgement.probability <= 0.04948


def test_rules_say_their_guard_band() -> None:
    assert [(chosen.value, chosen.factor) for chosen in Rule] == [
        ("guard 1.65 u", 1.65), ("guard U", 2.0), ("simple acceptance", 0.0),
    ]  # fmt: skip
    assert math.isclose(NormalDist().inv_cdf(0.95), 1.65, abs_tol=0.006)
