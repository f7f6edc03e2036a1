"""What is wanted of a result, the chance that it is decided, and the network behind both."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.geometry.conformity import Rule, Verdict, judge
from axledger.job.model import Sight
from axledger.job.prospect import (
    LIKELY,
    Aim,
    aimed_units,
    chance_of_decision,
    odds,
    prospect_of,
    settled,
    shown,
    wanted_u,
)

values = st.floats(-3.0, 3.0)


LIMITS = [(-1.0, 1.0), (None, 1.0), (-1.0, None)]


@given(values, st.sampled_from(LIMITS), st.sampled_from([Rule.GUARD_95, Rule.GUARD_U]))
def test_at_the_wanted_uncertainty_a_value_is_just_decided(
    value: float, limits: tuple[float | None, float | None], rule: Rule
) -> None:
    wanted = wanted_u(value, *limits, rule.factor)
    if wanted < 1e-6:
        return
    assert judge(value, wanted * (1.0 - 1e-9), *limits, rule).verdict is not Verdict.UNDECIDED
    # inside two limits a much larger uncertainty may reach past both, but never decides
    assert judge(value, wanted * (1.0 + 1e-6), *limits, rule).verdict is Verdict.UNDECIDED


def aim(value: float | None, u: float, lower: float | None, upper: float | None) -> Aim:
    wanted = 0.5 * u if value is None else wanted_u(value, lower, upper, 1.65)
    return Aim(
        key="unit.axle.toe", name="toe", unit="deg", value=value, u=u, wanted=wanted, lower=lower, upper=upper,
        factor=1.65,
    )  # fmt: skip


@pytest.mark.parametrize("value", [-1.4, -0.9, -0.2, 0.0, 0.55, 0.8, 1.3])
@pytest.mark.parametrize("left", [0.1, 0.3])
def test_the_chance_is_how_often_a_moved_value_is_decided(value: float, left: float) -> None:
    """Oracle: values moved at random, judged by the rule itself (100,000 draws, so 0.005 is three sds)."""
    own = aim(value, 0.6, -1.0, 1.0)
    moved = value + math.sqrt(0.6**2 - left**2) * np.random.default_rng(7).normal(size=100_000)
    guard = 1.65 * left
    decided = ((moved >= -1 + guard) & (moved <= 1 - guard)) | (moved < -1 - guard) | (moved > 1 + guard)
    assert chance_of_decision(own, left) == pytest.approx(float(decided.mean()), abs=0.006)


def test_without_better_readings_the_chance_is_that_of_the_value_as_it_is() -> None:
    assert chance_of_decision(aim(0.5, 0.6, -1.0, 1.0), 0.6) == 0.0
    assert chance_of_decision(aim(0.0, 0.6, -1.0, 1.0), 0.6) == 1.0
    assert chance_of_decision(aim(None, 0.6, None, None), 0.2) == 1.0
    assert chance_of_decision(aim(None, 0.6, None, None), 0.4) == 0.0


def test_settled_is_decided_and_likely_to_stay_so() -> None:
    own = aim(0.5, 0.6, -1.0, 1.0)
    just = own.wanted
    assert chance_of_decision(own, just) < LIKELY
    assert not settled(own, just)
    small = next(u for u in np.linspace(just, 0.001, 300).tolist() if chance_of_decision(own, u) >= LIKELY)
    assert settled(own, small)


def test_words_of_chance_and_size() -> None:
    assert odds(0.99) == ""
    assert odds(0.62) == " in 6 of 10 cases"
    assert shown(aim(0.0, 1.0, None, 1.0), math.radians(0.0154)) == "±0.031 deg"
    assert shown(aim(0.0, 1.0, None, 1.0), math.radians(0.0154), unit=False) == "±0.031"


def test_it_aims_at_what_is_undecided_and_else_at_what_is_not_determined(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="tractor-6x4-semitrailer-2axle")
    assert aimed_units(bay.fold.solution().results) == {"tractor", "trailer"}
    bay.finish()
    assert aimed_units(bay.fold.solution().results) == frozenset()  # no limits: nothing to decide


def test_a_prospect_starts_from_the_stated_uncertainty(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-2axle")
    bay.level()
    for _ in range(8):
        bay.shoot()
    solution = bay.fold.solution()
    line = Sight("T1Lh", "T2Lh", 3, 1)
    prospect = prospect_of(bay.fold.fresh_solver(), solution, [line], Rule.GUARD_95)
    undetermined = [result for result in solution.results if result.verdict is Verdict.UNDETERMINED]
    assert [own.key for own in prospect.aims] == [result.key for result in undetermined]
    assert prospect.u.tolist() == pytest.approx([result.forecast_u for result in undetermined], rel=1e-9)
    alone, together = prospect.left_alone([line], [2])[0], prospect.left_together([line], 2)
    assert alone.tolist() == pytest.approx(together.tolist(), rel=1e-9)
    assert prospect.after([line], [2]).u.tolist() == pytest.approx(together.tolist(), rel=1e-9)
    assert prospect.only([number == 1 for number in range(len(prospect.aims))]).u.tolist() == [prospect.u[1]]
