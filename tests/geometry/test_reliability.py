"""Tests of readings and what the tests can miss; scipy and plain re-adjustment are the oracles."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pytest
from scipy import stats

from axledger.geometry.adjustment import Adjusted, Array, Equations, adjust
from axledger.geometry.reliability import (
    chi_squared_above,
    chi_squared_limit,
    critical_w,
    detectability,
    external_reliability,
    global_test,
    smallest_bias,
    snoop,
    w_tests,
)


@pytest.mark.parametrize("freedom", [0.4, 1.0, 2.0, 7.3, 14.0, 60.5, 300.0])
@pytest.mark.parametrize("ratio", [0.05, 0.5, 1.0, 1.7, 4.0])
def test_chi_squared_agrees_with_scipy(freedom: float, ratio: float) -> None:
    value = ratio * freedom
    assert chi_squared_above(value, freedom) == pytest.approx(float(stats.chi2.sf(value, freedom)), rel=1e-9)


@pytest.mark.parametrize("level", [0.05, 0.01, 1e-5])
@pytest.mark.parametrize("freedom", [1.0, 8.6, 120.0])
def test_chi_squared_limits_agree_with_scipy(level: float, freedom: float) -> None:
    assert chi_squared_limit(level, freedom) == pytest.approx(float(stats.chi2.isf(level, freedom)), rel=1e-9)


def test_nothing_exceeds_zero_for_certain() -> None:
    assert chi_squared_above(0.0, 3.0) == 1.0
    assert global_test(5.0, 0.0, 0.01).passed  # nothing redundant, nothing to fail


def test_shared_levels_raise_one_false_alarm_in_a_hundred_jobs() -> None:
    limit = critical_w(0.01, 40)
    alone = float(stats.norm.sf(limit)) * 2
    assert 1 - (1 - alone) ** 40 == pytest.approx(0.01, rel=1e-9)  # Sidak's rule, turned round
    assert critical_w(0.01, 0) == critical_w(0.01, 1)


def test_detectability_is_where_four_in_five_are_rejected() -> None:
    limit = critical_w(0.001, 1)
    delta0 = detectability(limit, 0.8)
    assert float(stats.norm.sf(limit - delta0) + stats.norm.cdf(-limit - delta0)) == pytest.approx(0.8, abs=1e-9)


def test_an_unchecked_reading_is_never_accused_and_hides_anything() -> None:
    redundancy, sd = np.array([0.25, 0.0]), np.array([0.001, 0.001])
    assert w_tests(np.array([0.001, 5.0]), redundancy, sd).tolist() == pytest.approx([2.0, 0.0])
    assert smallest_bias(sd, redundancy, 4.0).tolist() == [pytest.approx(0.008), np.inf]


class Line:
    """A straight line through points: two parameters, exact by hand."""

    def __init__(self, points: int, wrong: dict[int, float]) -> None:
        rng = np.random.default_rng(4)
        self.x = np.linspace(-1.0, 1.0, points)
        self.design = np.column_stack((np.ones(points), self.x))
        self.observed = 2.0 + 3.0 * self.x + 0.1 * rng.normal(size=points)
        for number, error in wrong.items():
            self.observed[number] += error

    def without(self, rejected: Collection[int]) -> tuple[Adjusted, Array]:
        kept = [number for number in range(len(self.x)) if number not in rejected]
        return adjusted_by(self.design[kept], self.observed[kept])


def adjusted_by(design: Array, observed: Array) -> tuple[Adjusted, Array]:
    sd = np.full(len(observed), 0.1)
    equations = Equations(
        predict=lambda x: (design @ x, design), observed=observed, sd=sd, prior=np.zeros(2), prior_sd=np.full(2, np.inf)
    )
    return adjust(equations), sd


def test_snooping_finds_both_errors_and_their_sizes_one_at_a_time() -> None:
    line = Line(21, {3: 2.0, 15: -1.2})
    rejections, adjusted = snoop(line.without, critical_w(0.01, 21))
    assert [rejection.number for rejection in rejections] == [3, 15]
    assert rejections[0].error == pytest.approx(2.0, abs=4 * rejections[0].error_sd)
    assert rejections[1].error == pytest.approx(-1.2, abs=4 * rejections[1].error_sd)
    assert adjusted.freedom == 17
    stopped, _ = snoop(line.without, critical_w(0.01, 21), most=1)
    assert [rejection.number for rejection in stopped] == [3]


def test_external_reliability_is_what_an_unseen_error_does_to_a_result() -> None:
    line = Line(9, {})
    before, sd = adjusted_by(line.design, line.observed)
    shifted = line.observed.copy()
    shifted[2] += 0.7
    after, _ = adjusted_by(line.design, shifted)
    gradients = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, -1.0]])
    bias = np.zeros(9)
    bias[2] = 0.7
    moved = external_reliability(before.covariance, line.design, sd, bias, gradients)
    assert moved[:, 2].tolist() == pytest.approx((gradients @ (after.x - before.x)).tolist(), abs=1e-12)
    bias[2] = np.inf
    assert external_reliability(before.covariance, line.design, sd, bias, gradients)[0, 2] == np.inf
