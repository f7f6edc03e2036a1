"""Results over a range of scales of the setting errors, weighed by what the readings say about those scales.

The setting errors ``s`` have priors whose standard deviations are right up to one factor per kind. Everything
else is eliminated once, at the optimum for the stated sds (factors 1) and on the linear model there. What is
left of the readings is a misclosure ``z`` with covariance ``K = I + sum_k factor_k^2 Q_k``, normal with mean
zero, which no geometry explains; and every result is linear in ``s``. So each set of factors has its likelihood,
and each result its mean and variance, from matrices no larger than the misclosure.

Method: Bayesian mixture over variance components (textbook); elimination by the Schur complement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Evidence",
    "Mixed",
    "Weighed",
    "contributions",
    "eliminate",
    "factor_information",
    "mix",
    "product_grid",
    "weigh",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_UNSEEN = 2e-3
"""Directions of ``s`` that the readings know less of, as a share of their prior's information, are left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the readings say of the setting errors, in units of their stated sds, geometry eliminated.

    ``misclosure`` ``(r,)``; ``by_error`` ``(r, q)``: how each of ``q`` errors moves it; ``kind`` ``(q,)`` from 0 to
    ``kinds - 1``; ``mixed`` ``(kinds, r, r)``: the covariance each kind adds to it.
    Of ``p`` results: ``value`` and ``variance`` ``(p,)`` were all setting errors known to be zero, ``effect``
    ``(p, q)`` of each error, ``own`` ``(kinds, p)`` and ``cross`` ``(kinds, p, r)`` summed by kind.
    """

    misclosure: Array
    by_error: Array
    kind: Index
    kinds: int
    mixed: Array
    value: Array
    variance: Array
    effect: Array
    own: Array
    cross: Array

    def misfit(self, factors: Array) -> float:
        """Return the weighted square sum of the misclosure at ``factors`` ``(kinds,)``."""
        weighted = np.asarray(np.linalg.solve(_spread(self, factors[None] ** 2)[0], self.misclosure), dtype=np.float64)
        return float(self.misclosure @ weighted)


def eliminate(
    error: Array, covariance: Array, sd: Array, kind: Index, kinds: int, *, shared: Array, value: Array, variance: Array
) -> Evidence:
    """Return the evidence held by a solution found with the setting errors' stated sds.

    ``error`` ``(q,)`` estimates (prior mean zero), ``covariance`` ``(q, q)`` and ``sd`` ``(q,)`` of the prior, in one
    unit; ``shared`` ``(p, q)`` covariance of ``p`` results with them; ``value``, ``variance`` ``(p,)``.
    """
    scaled = covariance / sd / sd[:, None]
    left, axes = np.linalg.eigh(scaled)
    left = np.clip(left, 1e-12, 1.0)  # rounding may put a direction beyond its prior
    effect = (((shared / sd) @ axes) / left) @ axes.T
    found = error / sd
    known = 1.0 / left - 1.0
    seen = known > _UNSEEN
    root = np.sqrt(known[seen])
    by_error = root[:, None] * axes[:, seen].T
    members = (kind == np.arange(kinds)[:, None]).astype(np.float64)
    parts = by_error * members[:, None, :]
    return Evidence(
        misclosure=(1.0 + known[seen]) / root * (axes[:, seen].T @ found),
        by_error=by_error,
        kind=kind,
        kinds=kinds,
        mixed=parts @ by_error.T,
        value=value - effect @ found,
        variance=np.maximum(variance - np.einsum("ij,ij->i", effect @ scaled, effect), 0.0),
        effect=effect,
        own=members @ (effect**2).T,
        cross=effect @ parts.transpose(0, 2, 1),
    )


def product_grid(levels: Sequence[Array], weights: Sequence[Array]) -> tuple[Array, Array]:
    """Return all combinations of the kinds' levels ``(g, kinds)`` and their prior weights ``(g,)``."""
    if not levels:
        return np.zeros((1, 0)), np.ones(1)
    factors = np.stack([axis.ravel() for axis in np.meshgrid(*levels, indexing="ij")], axis=1)
    prior = np.ones(1)
    for weight in weights:
        prior = np.outer(prior, weight).ravel()
    return factors, prior


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """Every set of ``factors`` ``(g, kinds)``: its posterior ``weight`` ``(g,)``; ``mean``, ``variance`` ``(g, p)``."""

    factors: Array
    weight: Array
    mean: Array
    variance: Array


def weigh(evidence: Evidence, factors: Array, prior: Array, *, expected_at: Array | None = None) -> Weighed:
    """Weigh each set of ``factors`` ``(g, kinds)`` by ``prior`` ``(g,)`` times the likelihood of the misclosure.

    With ``expected_at`` ``(kinds,)`` the likelihood is that of a misclosure as large as those factors make it on
    average: for a forecast, where there are no readings yet.
    """
    square = factors**2
    spread = _spread(evidence, square)
    root = np.linalg.cholesky(spread)
    inverse = np.linalg.inv(spread)
    pulled = inverse @ evidence.misclosure
    if expected_at is None:
        misfit = pulled @ evidence.misclosure
    else:
        misfit = np.einsum("gij,ij->g", inverse, _spread(evidence, expected_at[None] ** 2)[0])
    with np.errstate(divide="ignore"):  # a weight of zero stays zero
        score = np.log(prior) - 0.5 * misfit - np.log(np.einsum("gii->gi", root)).sum(axis=1)
    weight = np.exp(score - score.max())
    cross = np.tensordot(square, evidence.cross, axes=1)
    taken = ((cross @ inverse) * cross).sum(axis=2)
    return Weighed(
        factors=factors,
        weight=weight / weight.sum(),
        mean=evidence.value + np.einsum("gpr,gr->gp", cross, pulled),
        variance=np.maximum(evidence.variance + square @ evidence.own - taken, 0.0),
    )


def _spread(evidence: Evidence, square: Array) -> Array:
    """Return the covariance of the misclosure ``(g, r, r)`` for squared factors ``(g, kinds)``."""
    return np.eye(len(evidence.misclosure)) + np.tensordot(square, evidence.mixed, axes=1)


def contributions(evidence: Evidence, factors: Array) -> tuple[Array, Array]:
    """Return what each setting error brings to each result's variance ``(p, q)``, and the whole of it ``(p,)``.

    At ``factors`` ``(kinds,)``. A result is linear in readings and priors, which are independent: its variance is the
    sum of their parts.
    """
    square = factors**2
    inverse = np.asarray(np.linalg.inv(_spread(evidence, square[None])[0]), dtype=np.float64)
    cross = np.tensordot(square, evidence.cross, axes=1)
    pull = cross @ inverse
    left: Array = evidence.effect - pull @ evidence.by_error
    whole: Array = evidence.variance + square @ evidence.own - (pull * cross).sum(axis=1)
    return left**2 * square[evidence.kind], np.maximum(whole, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixed:
    """The mixture of every result, ``(p,)`` each: mean, standard deviation, and the ends of the 95 % interval."""

    mean: Array
    u: Array
    low: Array
    high: Array


_TAIL = 0.025
_LEAST = 1e-7
_STEPS = 4


def mix(weighed: Weighed) -> Mixed:
    """Return mean, sd, and the 2.5 and 97.5 % points of each result over the sets of factors."""
    keep = weighed.weight > _LEAST  # their tails together are far below the last digit of the points
    weight = weighed.weight[keep] / weighed.weight[keep].sum()
    means, variances = weighed.mean[keep], weighed.variance[keep]
    mean = weight @ means
    apart = means - mean
    u = np.sqrt(weight @ (variances + apart**2))
    reach = _points(weight, apart, np.sqrt(variances), u)
    return Mixed(mean=mean, u=u, low=mean - reach[0], high=mean + reach[1])


def _points(weight: Array, apart: Array, sd: Array, u: Array) -> Array:
    """Return how far the two 2.5 % points lie from the mean ``(2, p)``, by Newton's method on the tail.

    Out there the distribution function bends one way only, so that steps from outside overshoot once at most.
    """
    shift = np.stack((-apart, apart))
    narrow = np.maximum(sd, 1e-12 * u + 1e-300)
    reach = np.stack((1.96 * u, 1.96 * u))
    for _ in range(_STEPS):
        t = (reach[:, None, :] - shift) / narrow
        beyond, density = _tail(t)
        excess = np.einsum("g,sgp->sp", weight, beyond) - _TAIL
        slope = np.einsum("g,sgp->sp", weight, density / narrow)
        step = excess / np.maximum(slope, 1e-9 / (u + 1e-300))
        reach = np.clip(reach + np.clip(step, -u, u), 0.5 * u, 8.0 * u)
    return reach


def _tail(t: Array) -> tuple[Array, Array]:
    """Return the standard normal's upper tail and density at ``t``.

    Rational approximation, good to 1.5e-7: Abramowitz & Stegun, Handbook of Mathematical Functions, 7.1.26 (1964).
    """
    size = np.minimum(np.abs(t), 38.0)  # beyond, the tail is below the least double
    bell = np.exp(-0.5 * size**2)
    k = 1.0 / (1.0 + 0.3275911 * size / np.sqrt(2.0))
    poly = ((((1.061405429 * k - 1.453152027) * k + 1.421413741) * k - 0.284496736) * k + 0.254829592) * k
    upper = 0.5 * poly * bell
    beyond = np.asarray(np.where(t >= 0.0, upper, 1.0 - upper), dtype=np.float64)
    return beyond, bell / np.sqrt(2.0 * np.pi)


def factor_information(evidence: Evidence, factors: Array, others: float) -> Array:
    """Return what the misclosure tells of each kind's ``ln factor`` at ``factors`` ``(kinds,)``: Fisher's information.

    The other kinds are not known but from their prior, ``others`` = 1 / variance of ``ln factor``: what they could
    explain as well is not counted.
    """
    mixed = evidence.mixed * (factors**2)[:, None, None]
    inverse = np.asarray(np.linalg.inv(np.eye(len(evidence.misclosure)) + mixed.sum(axis=0)), dtype=np.float64)
    turned: Array = inverse @ mixed
    information = 2.0 * np.einsum("kij,lji->kl", turned, turned)
    told = np.zeros(evidence.kinds)
    for kind in range(evidence.kinds):
        rest = np.arange(evidence.kinds) != kind
        side = information[kind, rest]
        held = information[np.ix_(rest, rest)] + others * np.eye(evidence.kinds - 1)
        told[kind] = information[kind, kind] - side @ np.linalg.solve(held, side)
    return told
