"""Score explanations of a network's contradictions, all in its linear model.

An explanation replaces some readings by others (another line, another value) or lets columns of unknown size loose
(a constant on a run of readings, a shift of a target). Its worth is the drop of the weighted square sum. Taking
readings out is a rank-k change of the covariance and exact in the linear model; nothing is adjusted anew.

The linear model is the network at a point: ``observed - predicted = jacobian @ step + error``. The algebra is the
partitioned least squares of the textbooks (Mikhail & Ackermann, "Observations and Least Squares", 1976, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Array

__all__ = [
    "Columns",
    "Linear",
    "Replaced",
    "score_columns",
    "score_exchanges",
    "score_replaced",
    "score_runs",
    "score_singles",
    "solve",
]

Index = NDArray[np.int64]
_LEAST = 1e-9
"""Share of an observation's weight below which a combination counts as unchecked."""
_ALIKE = 1e-6
"""Columns whose correlations' determinant is below this cannot be told apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Linear:
    """A solved linear model: ``m`` observations, ``n`` parameters.

    ``jacobian`` ``(m, n)``; ``sd`` ``(m,)``; ``covariance`` ``(n, n)``; ``step`` ``(n,)`` from the point of
    linearisation to the optimum; ``misfit`` ``(m,)`` = observed - adjusted; ``cofactor`` ``(m, m)`` is the
    misfits' covariance; ``pull`` ``(m,)`` and ``weight`` ``(m, m)`` are the two with the observations' weights.
    """

    jacobian: Array
    sd: Array
    covariance: Array
    step: Array
    misfit: Array
    cofactor: Array
    pull: Array
    weight: Array

    @property
    def redundancy(self) -> Array:
        """Return the redundancy of each observation ``(m,)``."""
        return np.diag(self.cofactor) / self.sd**2


@dataclass(frozen=True, slots=True)
class Columns:
    """Explanations of unknown size: ``drop`` ``(h,)``, ``size`` ``(h, q)`` and its ``covariance`` ``(h, q, q)``."""

    drop: Array
    size: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class Replaced:
    """Explanations of known size: ``drop`` ``(h,)``; ``spread`` ``(h,)`` the log of how much wider the new forecast is.

    ``spread`` is ``ln(det S_new / det S_old)`` of the forecasts' covariances. A wide forecast fits anything, so
    whoever weighs two explanations against each other takes it off the drop.
    """

    drop: Array
    spread: Array


def solve(
    jacobian: Array, misclosure: Array, sd: Array, prior_misfit: Array, prior_sd: Array, *,
    covariance: Array | None = None,
) -> Linear:  # fmt: skip
    """Solve the linear model; ``misclosure`` ``(m,)`` = observed - predicted, ``prior_misfit`` ``(n,)`` likewise.

    ``covariance`` saves the inversion where it is known.
    """
    weighted = jacobian / sd[:, None] ** 2
    prior_weight = prior_sd**-2
    if covariance is None:
        normal = weighted.T @ jacobian + np.diag(prior_weight)
        scale = 1.0 / np.sqrt(np.diag(normal))
        covariance = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    step = covariance @ (weighted.T @ misclosure + prior_weight * prior_misfit)
    misfit = misclosure - jacobian @ step
    cofactor = np.diag(sd**2) - jacobian @ covariance @ jacobian.T
    root = sd**-2
    return Linear(
        jacobian=jacobian, sd=sd, covariance=covariance, step=step, misfit=misfit, cofactor=cofactor,
        pull=root * misfit, weight=cofactor * root[:, None] * root,
    )  # fmt: skip


def score_singles(linear: Linear, number: Index, rows: Array, misclosure: Array, sd: Array) -> Replaced:
    """Score ``h`` replacements of one reading each.

    ``number`` ``(h,)``: the reading taken out. ``rows`` ``(h, n)``, ``misclosure`` and ``sd`` ``(h,)``: the one put
    in its place, at the same point of linearisation.
    """
    removed = np.diag(linear.cofactor)[number]
    free = np.maximum(removed, _LEAST * linear.sd[number] ** 2)
    old = linear.misfit[number] ** 2 / free
    there = rows @ linear.covariance
    crossed = np.einsum("hn,hn->h", there, linear.jacobian[number]) / free
    left = misclosure - rows @ linear.step + crossed * linear.misfit[number]
    new = sd**2 + np.einsum("hn,hn->h", there, rows) + crossed**2 * free
    before = linear.sd[number] ** 4 / free  # the old reading's forecast without itself
    return Replaced(old - left**2 / new, np.log(new / before))


def score_replaced(
    linear: Linear, numbers: Index, rows: Array, misclosure: Array, sd: Array, columns: Array | None = None
) -> tuple[float, float, Array]:
    """Score one explanation that takes the readings ``numbers`` ``(k,)`` out and puts others in.

    ``rows`` ``(j, n)``, ``misclosure`` and ``sd`` ``(j,)`` describe what is put in; ``columns`` ``(j, q)`` of unknown
    size are estimated with it. Returns the drop, the spread (see ``Replaced``) and the sizes ``(q,)``.
    """
    old, free, crossed = _taken_out(linear, numbers)
    there = rows @ linear.covariance
    link = there @ crossed
    left = misclosure - rows @ linear.step + link @ np.linalg.solve(free, linear.misfit[numbers])
    new = np.diag(sd**2) + there @ rows.T + link @ np.linalg.solve(free, link.T)
    fit = np.linalg.solve(new, left)
    rest = float(left @ fit)
    size: Array = np.zeros(0)
    if columns is not None:
        precision = columns.T @ np.linalg.solve(new, columns)
        size = np.asarray(np.linalg.solve(precision, columns.T @ fit), dtype=np.float64)
        rest -= float(size @ precision @ size)
    before = np.linalg.slogdet(np.diag(linear.sd[numbers] ** 4))[1] - np.linalg.slogdet(free)[1]
    return old - rest, float(np.linalg.slogdet(new)[1] - before), size


def _taken_out(linear: Linear, numbers: Index) -> tuple[float, Array, Array]:
    """Return the drop of taking readings out, their misfits' covariance ``(k, k)``, and ``A' (n, k)`` of theirs."""
    free = linear.cofactor[np.ix_(numbers, numbers)].copy()
    diagonal: Array = np.einsum("ii->i", free)
    diagonal += _LEAST * linear.sd[numbers] ** 2
    misfit = linear.misfit[numbers]
    return float(misfit @ np.linalg.solve(free, misfit)), free, linear.jacobian[numbers].T


def score_exchanges(linear: Linear, pairs: Index, values: Array) -> Replaced:
    """Score ``h`` exchanges of two readings each: ``pairs`` ``(h, 2)``, ``values`` ``(m,)`` as observed.

    Both readings go to each other's place, so the network's own observations are all that is needed.
    """
    other = pairs[:, ::-1]
    variance = linear.sd**2
    free = linear.cofactor[pairs[:, :, None], pairs[:, None, :]].copy()
    own = np.einsum("hkk->hk", free)
    own += _LEAST * variance[pairs]
    misfit = linear.misfit[pairs]
    pulled = np.linalg.solve(free, misfit[:, :, None])
    # the adjusted observations' covariance, of each place the readings go to with each they come from
    leverage = -linear.cofactor[other[:, :, None], pairs[:, None, :]]
    leverage[:, 0, 1] += variance[other[:, 0]]
    leverage[:, 1, 0] += variance[other[:, 1]]
    left = values[pairs] - values[other] + linear.misfit[other] + (leverage @ pulled)[:, :, 0]
    new = -linear.cofactor[other[:, :, None], other[:, None, :]] + leverage @ np.linalg.solve(
        free, np.swapaxes(leverage, 1, 2)
    )  # fmt: skip
    diagonal = np.einsum("hkk->hk", new)
    diagonal += variance[other] * 2.0
    fit = np.linalg.solve(new, left[:, :, None])
    drop = (misfit[:, None, :] @ pulled)[:, 0, 0] - (left[:, None, :] @ fit)[:, 0, 0]
    before = np.log(variance[pairs]).sum(axis=1) * 2.0 - np.linalg.slogdet(free)[1]
    return Replaced(drop, np.linalg.slogdet(new)[1] - before)


def score_columns(linear: Linear, columns: Array) -> Columns:
    """Score ``h`` explanations of ``q`` columns of unknown size each; ``columns`` is ``(h, m, q)``.

    A column in which nothing is redundant drops nothing: its size is then given as zero with infinite variance.
    """
    pulled = np.einsum("hmq,m->hq", columns, linear.pull)
    precision = np.swapaxes(columns, 1, 2) @ (linear.weight @ columns)
    most = np.einsum("hmq,m,hmq->hq", columns, linear.sd**-2, columns)
    diagonal = np.einsum("hqq->hq", precision)
    determinable = (diagonal > _LEAST * np.maximum(most, 1e-300)).all(axis=1)
    if columns.shape[2] > 1:  # columns that do the same cannot both be estimated
        scale = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
        determinable &= np.linalg.det(precision * scale[:, :, None] * scale[:, None, :]) > _ALIKE
    safe = np.where(determinable[:, None, None], precision, np.eye(columns.shape[2]))
    covariance = np.linalg.inv(safe)
    size = np.where(determinable[:, None], np.einsum("hqr,hr->hq", covariance, pulled), 0.0)
    drop = np.einsum("hq,hq->h", size, pulled)
    return Columns(drop, size, np.where(determinable[:, None, None], covariance, np.inf))


def score_runs(linear: Linear, among: Index) -> tuple[Array, Array, Array]:
    """Score a constant of unknown size on every run of the observations ``among`` ``(k,)``, in their order.

    Returns drop, size and its variance, each ``(k, k)``: element ``[i, j]`` is the run from ``i`` to ``j``, both
    included; below the diagonal, and where nothing checks a run, the drop is zero.
    """
    weight, pull = linear.weight[np.ix_(among, among)], linear.pull[among]
    count = len(among)
    sums = np.zeros((count + 1, count + 1))
    sums[1:, 1:] = weight.cumsum(axis=0).cumsum(axis=1)
    line = np.concatenate(([0.0], pull.cumsum()))
    diagonal = np.diag(sums)
    # over [i, j]: the block sum of rows and columns i to j, from sums of the leading blocks
    block = diagonal[None, 1:] - sums[:-1, 1:] - sums[1:, :-1].T + diagonal[:-1, None]
    pulled = line[None, 1:] - line[:-1, None]
    first = np.arange(count)
    seen = (first[:, None] <= first[None, :]) & (block > _LEAST / float(np.min(linear.sd[among])) ** 2)
    variance = np.where(seen, 1.0 / np.where(seen, block, 1.0), np.inf)
    size = np.where(seen, pulled / np.where(seen, block, 1.0), 0.0)
    return np.where(seen, size * pulled, 0.0), size, variance
