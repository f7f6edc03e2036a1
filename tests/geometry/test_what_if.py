"""What a reading would do, against doing it: the whole network adjusted again with the reading in it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.geometry.adjustment import Array, Equations, adjust
from axledger.geometry.results import evaluate
from axledger.geometry.what_if import Candidates, candidates_of, covariance_of
from axledger.job.model import Model


@dataclass(frozen=True, slots=True)
class Case:
    """A random problem: covariance, gradients of three results, five candidate rows and their sds."""

    covariance: Array
    gradients: Array
    rows: Array
    sd: Array

    @property
    def candidates(self) -> Candidates:
        return candidates_of(self.covariance, self.gradients, self.rows, self.sd)

    def u2_after(self, lines: list[int], readings: Array | float = 1.0) -> Array:
        """Variances after readings, by the other road: informations are added and inverted."""
        weight = readings / self.sd[lines] ** 2
        normal = np.linalg.inv(self.covariance) + (self.rows[lines].T * weight) @ self.rows[lines]
        return variances(np.asarray(np.linalg.inv(normal), dtype=np.float64), self.gradients)


def case(seed: int) -> Case:
    rng = np.random.default_rng(seed)
    jacobian, sd = rng.normal(size=(9, 7)), rng.uniform(0.3, 2.0, 9)
    return Case(
        covariance_of(jacobian, sd, rng.uniform(0.5, 5.0, 7)),
        rng.normal(size=(3, 7)),
        rng.normal(size=(5, 7)),
        rng.uniform(0.2, 3.0, 5),
    )


def variances(covariance: Array, gradients: Array) -> Array:
    return np.asarray(np.diag(gradients @ covariance @ gradients.T))


@given(st.integers(0, 10_000), st.integers(1, 4))
def test_each_candidate_alone_is_its_own_readjustment(seed: int, readings: int) -> None:
    one = case(seed)
    gained = one.candidates.alone(range(5), readings)
    assert gained.shape == (5, 3)
    assert one.candidates.variance == pytest.approx(variances(one.covariance, one.gradients), rel=1e-12)
    for line in range(5):
        left = one.u2_after([line], readings)
        assert one.candidates.variance - gained[line] == pytest.approx(left, rel=1e-9)
        assert one.candidates.together([line], readings) == pytest.approx(gained[line], rel=1e-9)


@given(st.integers(0, 10_000))
def test_a_group_is_its_own_readjustment(seed: int) -> None:
    one = case(seed)
    lines, readings = [0, 2, 3], [1, 3, 2]
    left = one.u2_after(lines, np.array(readings))
    assert one.candidates.variance - one.candidates.together(lines, readings) == pytest.approx(left, rel=1e-9)


@given(st.integers(0, 10_000))
def test_what_was_read_counts_for_what_is_read_after_it(seed: int) -> None:
    one = case(seed)
    later = one.candidates.after([0, 3], [2, 1])
    assert later.variance == pytest.approx(one.u2_after([0, 3], np.array([2.0, 1.0])), rel=1e-9)
    both = one.u2_after([0, 3, 1, 0], np.array([2.0, 1.0, 1.0, 1.0]))
    assert later.after([1, 0]).variance == pytest.approx(both, rel=1e-9)
    assert later.variance - later.together([1, 0]) == pytest.approx(both, rel=1e-9)


@given(st.integers(0, 10_000))
def test_some_results_are_the_same_as_among_all(seed: int) -> None:
    one = case(seed).candidates
    assert one.of_results([2]).alone([1, 4]) == pytest.approx(one.alone([1, 4])[:, [2]])
    assert one.of_results([2]).variance == pytest.approx(one.variance[[2]])


@pytest.mark.parametrize("name", ["semitrailer-2axle", "tractor-4x2", "tractor-6x4-semitrailer-2axle"])
def test_one_more_reading_of_a_vehicle_is_the_whole_network_adjusted_again(
    model_of: Callable[[str], Model], measured: Callable[[Model, int], Equations], name: str
) -> None:
    """Oracle: the adjustment itself, once more with the candidate among its readings.

    Linear about the solution: what a bent line changes is no part of the claim.
    """
    model = model_of(name)
    equations = measured(model, 3)
    equations = linear(equations, adjust(equations).x)
    solved = adjust(equations)
    gradients = np.array([formula.value.gradient for unit in model.units for formula in evaluate(unit, solved.x)])
    predicted, jacobian = equations.predict(solved.x)
    lines = list(range(0, len(predicted), 7))
    candidates = candidates_of(solved.covariance, gradients, jacobian[lines], equations.sd[lines])
    gained = candidates.alone(range(len(lines)))
    for number, candidate in enumerate(lines):
        again = with_reading(equations, candidate, float(predicted[candidate]))
        left = variances(adjust(again, solved.x).covariance, gradients)
        assert np.sqrt(candidates.variance - gained[number]) == pytest.approx(np.sqrt(left), rel=1e-9)


def linear(equations: Equations, x0: Array) -> Equations:
    readings, jacobian = equations.predict(x0)
    return replace(equations, predict=lambda x: (readings + jacobian @ (x - x0), jacobian))


def with_reading(equations: Equations, line: int, value: float) -> Equations:
    def predict(x: Array) -> tuple[Array, Array]:
        readings, jacobian = equations.predict(x)
        return np.append(readings, readings[line]), np.vstack((jacobian, jacobian[line]))

    return Equations(
        predict=predict,
        observed=np.append(equations.observed, value),
        sd=np.append(equations.sd, equations.sd[line]),
        prior=equations.prior,
        prior_sd=equations.prior_sd,
    )


@given(st.integers(0, 10_000))
def test_a_fresh_seating_is_noise_of_its_one_line(seed: int) -> None:
    """A parameter that nothing has touched yet stands at its prior; on one line it only makes the reading worse."""
    rng = np.random.default_rng(seed)
    jacobian, sd, prior_sd = rng.normal(size=(9, 6)), rng.uniform(0.3, 2.0, 9), rng.uniform(0.5, 5.0, 6)
    gradients, row = np.append(rng.normal(size=(2, 6)), np.zeros((2, 1)), axis=1), rng.normal(size=(1, 7))
    wider = covariance_of(np.append(jacobian, np.zeros((9, 1)), axis=1), sd, np.append(prior_sd, 0.4))
    fresh = candidates_of(wider, gradients, row, np.array([0.5])).alone([0])
    worse = np.array([math.hypot(0.5, 0.4 * float(row[0, 6]))])
    plain = candidates_of(covariance_of(jacobian, sd, prior_sd), gradients[:, :6], row[:, :6], worse).alone([0])
    assert fresh == pytest.approx(plain, rel=1e-9)


@given(st.integers(0, 10_000), st.floats(0.4, 0.999))
def test_the_number_of_repeats_is_the_first_that_is_enough(seed: int, share: float) -> None:
    one = case(seed)
    wanted = share * np.sqrt(one.candidates.variance)
    needed = one.candidates.needed(range(5), wanted)

    def left(line: int, count: float) -> Array:
        return np.sqrt(one.u2_after([line], count))

    for line in range(5):
        for result in range(3):
            count = float(needed[line, result])
            if math.isinf(count):
                assert left(line, 1e9)[result] > wanted[result] * (1.0 - 1e-6)
                continue
            assert left(line, count)[result] <= wanted[result] * (1.0 + 1e-7)
            if count > 1.0:
                assert left(line, count - 1.0)[result] > wanted[result] * (1.0 - 1e-7)


def test_nothing_is_needed_where_it_is_reached_and_nothing_helps_what_is_not_seen() -> None:
    two = candidates_of(np.diag([4.0, 9.0]), np.eye(2), np.array([[1.0, 0.0]]), np.array([1.0]))
    assert two.needed([0], np.array([2.0, 2.9])).tolist() == [[0.0, math.inf]]
    # 1/u^2 = 1/4 + n: u = 0.5 wants n = 3.75, so four; computed by hand
    assert two.needed([0], np.array([0.5, 3.0])).tolist() == [[4.0, 0.0]]
    # u = 2/3 is reached by exactly two: rounding must not ask for a third
    assert two.needed([0], np.array([2.0 / 3.0, 3.0])).tolist() == [[2.0, 0.0]]


def test_a_shared_zero_is_a_floor_that_repeats_do_not_pass() -> None:
    """A length of 3 with the meter's zero in it (prior sd 1): u never falls below that of the zero."""
    covariance = covariance_of(np.zeros((0, 2)), np.zeros(0), np.array([10.0, 1.0]))
    line = candidates_of(covariance, np.array([[1.0, 0.0]]), np.array([[1.0, -1.0]]), np.array([0.7]))
    floor = math.sqrt(1.0 / (1.0 / 100.0 + 1.0))  # by hand: both together leave 1/(1/100 + 1/1)
    assert line.needed([0], np.array([floor * 0.999])).tolist() == [[math.inf]]
    assert math.isfinite(line.needed([0], np.array([floor * 1.01]))[0, 0])
