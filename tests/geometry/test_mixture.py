"""The mixture against the same problem done the long way: dense covariances, scipy's normal densities and roots."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import multivariate_normal, norm

from axledger.geometry.mixture import (
    Evidence,
    Weighed,
    contributions,
    eliminate,
    factor_information,
    mix,
    product_grid,
    weigh,
)

Array = NDArray[np.float64]
LEVELS = (np.array([0.7, 1.0, 2.0, 4.0]), np.array([1.0, 2.9]))
WEIGHTS = (np.array([0.2, 0.4, 0.3, 0.1]), np.array([0.6, 0.4]))


@dataclass(frozen=True, slots=True)
class Problem:
    """Readings ``y = by_rest rest + by_error error + noise``; results ``of_rest rest + of_error error``; invented."""

    by_rest: Array
    by_error: Array
    rest_sd: Array
    sd: Array
    kind: NDArray[np.int64]
    of_rest: Array
    of_error: Array
    y: Array

    def scaled(self, factors: Array) -> Array:
        return self.sd * factors[self.kind]

    def covariance(self, factors: Array) -> Array:
        """The covariance of the readings (unit noise)."""
        rest = (self.by_rest * self.rest_sd**2) @ self.by_rest.T
        error = (self.by_error * self.scaled(factors) ** 2) @ self.by_error.T
        return rest + error + np.eye(len(self.y))

    def shared(self, factors: Array) -> Array:
        """The covariance of the results with the readings."""
        rest = (self.of_rest * self.rest_sd**2) @ self.by_rest.T
        return rest + (self.of_error * self.scaled(factors) ** 2) @ self.by_error.T

    def conditioned(self, factors: Array) -> tuple[Array, Array]:
        """The results' means and variances given the readings, by the formula for jointly normal variables."""
        gain = np.linalg.solve(self.covariance(factors), self.shared(factors).T).T
        rest = ((self.of_rest * self.rest_sd) ** 2).sum(axis=1)
        prior = rest + ((self.of_error * self.scaled(factors)) ** 2).sum(axis=1)
        return gain @ self.y, prior - (gain * self.shared(factors)).sum(axis=1)


def problem(seed: int = 4, size: float = 1.5) -> Problem:
    rng = np.random.default_rng(seed)
    kind = np.array([0, 0, 0, 0, 1, 1, 1])
    return Problem(
        by_rest=rng.normal(size=(14, 5)), by_error=rng.normal(size=(14, 7)), rest_sd=np.full(5, 30.0),
        sd=rng.uniform(0.5, 1.5, 7), kind=kind, of_rest=rng.normal(size=(3, 5)), of_error=rng.normal(size=(3, 7)),
        y=rng.normal(size=14) * 3.0 + rng.normal(size=(14, 7)) @ rng.normal(size=7) * size,
    )  # fmt: skip


def evidence_of(one: Problem) -> Evidence:
    """Solve at the stated sds as the adjustment would, then eliminate."""
    design = np.hstack((one.by_rest, one.by_error))
    normal = design.T @ design + np.diag(np.concatenate((one.rest_sd, one.sd)) ** -2.0)
    covariance: Array = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    x = covariance @ design.T @ one.y
    gradients = np.hstack((one.of_rest, one.of_error))
    errors = slice(5, 12)
    return eliminate(
        x[errors], covariance[errors, errors], one.sd, one.kind, 2, shared=(gradients @ covariance)[:, errors],
        value=gradients @ x, variance=np.einsum("ij,jk,ik->i", gradients, covariance, gradients),
    )  # fmt: skip


def test_the_grid_has_every_combination_with_the_product_of_its_weights() -> None:
    factors, prior = product_grid(LEVELS, WEIGHTS)
    assert [tuple(row) for row in factors.tolist()] == list(itertools.product(*(level.tolist() for level in LEVELS)))
    assert prior.tolist() == pytest.approx([a * b for a, b in itertools.product(*(w.tolist() for w in WEIGHTS))])
    assert product_grid([], [])[0].shape == (1, 0)


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_weights_are_those_of_the_readings_own_densities(seed: int) -> None:
    one = problem(seed)
    factors, prior = product_grid(LEVELS, WEIGHTS)
    weighed = weigh(evidence_of(one), factors, prior)
    logs = np.array([multivariate_normal(cov=one.covariance(row)).logpdf(one.y) for row in factors])
    expected = prior * np.exp(logs - logs.max())
    # directions of which the readings know less than 0.2 % of the prior are left out, hence not the last digit
    assert weighed.weight.tolist() == pytest.approx((expected / expected.sum()).tolist(), rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_means_and_variances_are_those_of_solving_at_each_factor(seed: int) -> None:
    one = problem(seed)
    factors, prior = product_grid(LEVELS, WEIGHTS)
    weighed = weigh(evidence_of(one), factors, prior)
    for row, mean, variance in zip(factors, weighed.mean, weighed.variance, strict=True):
        expected = one.conditioned(row)
        assert variance.tolist() == pytest.approx(expected[1].tolist(), rel=2e-3)
        assert (np.abs(mean - expected[0]) / np.sqrt(expected[1])).max() < 2e-3


def test_points_of_the_mixture_are_where_scipy_finds_them() -> None:
    weighed = Weighed(
        factors=np.ones((3, 1)), weight=np.array([0.5, 0.3, 0.2]),
        mean=np.array([[0.0, 1.0], [0.4, 1.0], [-1.0, 1.0]]), variance=np.array([[1.0, 1.0], [4.0, 4.0], [16.0, 16.0]]),
    )  # fmt: skip
    mixed = mix(weighed)
    for result in range(2):

        def below(t: float, result: int = result) -> float:
            sd = np.sqrt(weighed.variance[:, result])
            return float(weighed.weight @ norm.cdf(t, weighed.mean[:, result], sd))

        assert mixed.low[result] == pytest.approx(brentq(lambda t: below(t) - 0.025, -30, 30), abs=2e-4)
        assert mixed.high[result] == pytest.approx(brentq(lambda t: below(t) - 0.975, -30, 30), abs=2e-4)
    # by hand: 0.5*1 + 0.3*4 + 0.2*16 = 4.9, all means alike
    assert mixed.u[1] == pytest.approx(np.sqrt(4.9), rel=1e-12)
    assert mixed.mean[0] == pytest.approx(0.5 * 0.0 + 0.3 * 0.4 - 0.2 * 1.0, rel=1e-12)


def test_one_normal_alone_has_its_own_points() -> None:
    weighed = Weighed(factors=np.ones((1, 1)), weight=np.ones(1), mean=np.array([[3.0]]), variance=np.array([[0.25]]))
    mixed = mix(weighed)
    # 1.959964: 97.5 % point of the standard normal, any table
    assert [mixed.low[0], mixed.high[0]] == pytest.approx([3.0 - 0.5 * 1.959964, 3.0 + 0.5 * 1.959964], abs=1e-5)


def test_what_the_errors_bring_is_the_square_of_how_far_each_moves_the_result() -> None:
    """By the long way: the estimator's response to each error, and what is left of the variance is noise and rest."""
    one, factors = problem(), np.array([2.0, 1.0])
    brought, whole = contributions(evidence_of(one), factors)
    gain = np.linalg.solve(one.covariance(factors), one.shared(factors).T).T
    # the estimate moves by gain * by_error, the truth by of_error; their difference is the error that stays
    expected = ((gain @ one.by_error - one.of_error) * one.scaled(factors)) ** 2
    assert brought.ravel().tolist() == pytest.approx(expected.ravel().tolist(), rel=0.02, abs=1e-5)
    assert whole.tolist() == pytest.approx(one.conditioned(factors)[1].tolist(), rel=2e-3)
    assert (brought.sum(axis=1) < whole).all()


def test_a_forecast_weighs_by_the_misclosure_to_be_expected() -> None:
    evidence = evidence_of(problem())
    factors, prior = product_grid(LEVELS, WEIGHTS)
    at = np.array([1.0, 1.0])
    weighed = weigh(evidence, factors, prior, expected_at=at)
    size = len(evidence.misclosure)

    def spread(row: Array) -> Array:
        return np.eye(size) + np.tensordot(row**2, evidence.mixed, axes=1)

    # expected log-likelihood of a normal: -1/2 (tr K^-1 K0 + ln det K), textbook
    logs = [
        -0.5 * (np.trace(np.linalg.solve(spread(f), spread(at))) + np.linalg.slogdet(spread(f))[1]) for f in factors
    ]
    expected = prior * np.exp(np.array(logs) - max(logs))
    assert weighed.weight.tolist() == pytest.approx((expected / expected.sum()).tolist(), rel=1e-9)


def test_information_of_independent_errors_seen_exactly_is_two_each() -> None:
    """Four errors seen almost without noise: Fisher's information on ln sd of n normal values is 2 n (textbook)."""
    by_error = 1e4 * np.eye(4)
    evidence = Evidence(
        misclosure=np.zeros(4), by_error=by_error, kind=np.zeros(4, dtype=np.int64), kinds=1,
        mixed=(by_error @ by_error.T)[None], value=np.zeros(0), variance=np.zeros(0), effect=np.zeros((0, 4)),
        own=np.zeros((1, 0)), cross=np.zeros((1, 0, 4)),
    )  # fmt: skip
    assert factor_information(evidence, np.ones(1), 4.0).tolist() == pytest.approx([8.0], rel=1e-6)


def test_what_another_kind_explains_as_well_is_not_counted() -> None:
    evidence = evidence_of(problem())
    told = factor_information(evidence, np.ones(2), 4.0)
    alone = factor_information(evidence, np.ones(2), 1e12)  # the other kind's factor known
    assert (told < alone).all()
    assert (told > 0).all()


def test_the_weighted_square_sum_is_that_of_the_misclosure() -> None:
    one = problem()
    evidence = evidence_of(one)
    # readings and priors: y' K^-1 y with geometry as wide as its prior; differences between factors are the same
    long = [one.y @ np.linalg.solve(one.covariance(np.array(f)), one.y) for f in ((1.0, 1.0), (2.0, 2.9))]
    short = [evidence.misfit(np.array(f)) for f in ((1.0, 1.0), (2.0, 2.9))]
    assert short[1] - short[0] == pytest.approx(long[1] - long[0], rel=5e-3)
