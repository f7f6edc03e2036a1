"""Explanations are scored without adjusting anew; adjusting anew is the oracle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from axledger.geometry.adjustment import Array
from axledger.geometry.hypothesis import (
    Linear,
    score_columns,
    score_exchanges,
    score_replaced,
    score_runs,
    score_singles,
    solve,
)


@dataclass(frozen=True, slots=True)
class Problem:
    jacobian: Array
    values: Array
    sd: Array
    prior_sd: Array
    other: Array

    def linear(self) -> Linear:
        return solve(self.jacobian, self.values, self.sd, np.zeros(self.jacobian.shape[1]), self.prior_sd)


def square_sum(jacobian: Array, values: Array, sd: Array, prior_sd: Array) -> float:
    """Solve by an orthogonal decomposition, which the scoring does not use, and return the weighted square sum."""
    rows = np.vstack((jacobian / sd[:, None], np.diag(1.0 / prior_sd)))
    right = np.concatenate((values / sd, np.zeros(len(prior_sd))))
    left = right - rows @ np.linalg.lstsq(rows, right, rcond=None)[0]
    return float(left @ left)


def with_column(problem: Problem, columns: Array) -> float:
    """Return the square sum with free columns, each with a prior so wide that it does not count."""
    wide = np.full(columns.shape[1], 1e6)
    return square_sum(
        np.hstack((problem.jacobian, columns)), problem.values, problem.sd, np.concatenate((problem.prior_sd, wide))
    )


@pytest.fixture(scope="module")
def problem() -> Problem:
    rng = np.random.default_rng(7)
    jacobian = rng.normal(size=(14, 5))
    sd = rng.uniform(0.5, 2.0, 14)
    values = jacobian @ rng.normal(size=5) + sd * rng.normal(size=14)
    values[4] += 8.0
    return Problem(jacobian, values, sd, np.full(5, 3.0), rng.normal(size=(6, 5)))


@pytest.fixture(scope="module")
def whole(problem: Problem) -> float:
    return square_sum(problem.jacobian, problem.values, problem.sd, problem.prior_sd)


def test_a_replaced_reading_is_worth_what_adjusting_anew_says(problem: Problem, whole: float) -> None:
    number = np.array([4, 0, 9], dtype=np.int64)
    values, sd = np.array([0.3, -1.0, 2.0]), np.array([0.7, 1.1, 0.4])
    scored = score_singles(problem.linear(), number, problem.other[:3], values, sd)
    for which in range(3):
        jacobian, observed, deviation = problem.jacobian.copy(), problem.values.copy(), problem.sd.copy()
        jacobian[number[which]], observed[number[which]] = problem.other[which], values[which]
        deviation[number[which]] = sd[which]
        after = square_sum(jacobian, observed, deviation, problem.prior_sd)
        assert float(scored.drop[which]) == pytest.approx(whole - after, rel=1e-6)


def test_several_readings_and_a_free_size_are_worth_what_adjusting_anew_says(problem: Problem, whole: float) -> None:
    numbers = np.array([1, 4, 8], dtype=np.int64)
    values, sd = np.array([0.3, -1.0, 2.0]), np.array([0.7, 1.1, 0.4])
    jacobian, observed, deviation = problem.jacobian.copy(), problem.values.copy(), problem.sd.copy()
    jacobian[numbers], observed[numbers], deviation[numbers] = problem.other[:3], values, sd
    drop, _, size = score_replaced(problem.linear(), numbers, problem.other[:3], values, sd)
    assert drop == pytest.approx(whole - square_sum(jacobian, observed, deviation, problem.prior_sd), rel=1e-6)
    assert len(size) == 0
    column = np.zeros((14, 1))
    column[numbers, 0] = 1.0
    after = with_column(Problem(jacobian, observed, deviation, problem.prior_sd, problem.other), column)
    drop, _, size = score_replaced(problem.linear(), numbers, problem.other[:3], values, sd, np.ones((3, 1)))
    assert drop == pytest.approx(whole - after, rel=1e-6)
    assert size.shape == (1,)


def test_one_reading_scored_alone_or_in_a_group_of_one_is_the_same(problem: Problem) -> None:
    number, value, sd = np.array([4], dtype=np.int64), np.array([0.3]), np.array([0.7])
    single = score_singles(problem.linear(), number, problem.other[:1], value, sd)
    drop, spread, _ = score_replaced(problem.linear(), number, problem.other[:1], value, sd)
    assert drop == pytest.approx(float(single.drop[0]), rel=1e-6)
    assert spread == pytest.approx(float(single.spread[0]), rel=1e-6)


def test_columns_of_unknown_size_are_worth_what_adjusting_anew_says(problem: Problem, whole: float) -> None:
    rng = np.random.default_rng(1)
    for free in (1, 2, 3):
        columns = rng.normal(size=(4, 14, free))
        scored = score_columns(problem.linear(), columns)
        after = [with_column(problem, columns[which]) for which in range(4)]
        assert scored.drop.tolist() == pytest.approx([whole - one for one in after], rel=1e-6)


def test_columns_that_do_the_same_are_left_out(problem: Problem) -> None:
    column = np.random.default_rng(2).normal(size=14)
    scored = score_columns(problem.linear(), np.stack((column, 2.0 * column), axis=1)[None])
    assert float(scored.drop[0]) == 0.0
    assert np.isinf(scored.covariance).all()


def test_runs_are_columns_of_ones(problem: Problem) -> None:
    among = np.array([0, 2, 3, 4, 5, 9, 13], dtype=np.int64)
    drop, size, variance = score_runs(problem.linear(), among)
    for first, last in ((0, 0), (1, 4), (3, 3), (2, 6)):
        column = np.zeros((1, 14, 1))
        column[0, among[first : last + 1], 0] = 1.0
        expected = score_columns(problem.linear(), column)
        assert float(drop[first, last]) == pytest.approx(float(expected.drop[0]), rel=1e-9)
        assert float(size[first, last]) == pytest.approx(float(expected.size[0, 0]), rel=1e-9)
        assert float(variance[first, last]) == pytest.approx(float(expected.covariance[0, 0, 0]), rel=1e-9)
    assert np.all(drop[np.tril_indices(7, -1)] == 0.0)


def test_an_exchange_is_two_readings_in_each_others_place(problem: Problem) -> None:
    equal = Problem(problem.jacobian, problem.values, np.full(14, 0.8), problem.prior_sd, problem.other)
    whole = square_sum(equal.jacobian, equal.values, equal.sd, equal.prior_sd)
    pairs = np.array([[4, 1], [12, 7]], dtype=np.int64)
    scored = score_exchanges(equal.linear(), pairs, equal.values)
    for which, (first, second) in enumerate(pairs.tolist()):
        values = equal.values.copy()
        values[[first, second]] = values[[second, first]]
        after = square_sum(equal.jacobian, values, equal.sd, equal.prior_sd)
        assert float(scored.drop[which]) == pytest.approx(whole - after, rel=1e-6)
        numbers = np.array([first, second], dtype=np.int64)
        drop, spread, _ = score_replaced(
            equal.linear(), numbers, equal.jacobian[[second, first]], equal.values[numbers], equal.sd[numbers]
        )
        assert float(scored.drop[which]) == pytest.approx(drop, rel=1e-6)
        assert float(scored.spread[which]) == pytest.approx(spread, abs=1e-6)


def test_the_misfits_covariance_is_exact(problem: Problem) -> None:
    linear = problem.linear()
    kept = linear.jacobian @ linear.covariance @ linear.jacobian.T
    assert np.allclose(linear.cofactor + kept, np.diag(problem.sd**2))
    # readings and priors share what is redundant: the readings' number is what both redundancies add up to
    priors = 1.0 - np.diag(linear.covariance) / problem.prior_sd**2
    assert float(linear.redundancy.sum() + priors.sum()) == pytest.approx(14.0)
