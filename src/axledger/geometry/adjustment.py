"""Weighted least squares: the one solver.

Observation equations ``observed = predict(x) + error`` with standard deviations, parameters with optional
priors, optional inner constraints for a free network. Gauss-Newton with an analytic Jacobian; the normal
matrix is scaled to a unit diagonal before it is factored, because parameters mix metres and radians.

Source of the method: Mikhail & Ackermann, "Observations and Least Squares" (1976), from memory; reliability
figures after Baarda, "A testing procedure for use in geodetic networks" (1968). Checked against published
adjustments in tests/published.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Adjusted", "Array", "Equations", "adjust"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Predict = Callable[[Array], tuple[Array, Array]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Equations:
    """A least-squares problem.

    ``predict(x)`` returns the predicted observations ``(m,)`` and their Jacobian ``(m, n)``.
    ``observed`` ``(m,)`` and ``sd`` ``(m,)`` in the unit of each observation.
    ``prior`` ``(n,)`` and ``prior_sd`` ``(n,)`` in the unit of each parameter; ``inf`` means no prior.
    ``inner`` ``(n, d)`` spans the datum defect of a free network (orthonormalised here), or ``None``.
    ``rows`` ``(m,)`` tells which of ``(k,)`` predicted lines each observation is a repeat of; ``None``: each is its
    own. It changes the time it takes and nothing else.
    """

    predict: Predict
    observed: Array
    sd: Array
    prior: Array
    prior_sd: Array
    inner: Array | None = None
    rows: Index | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjusted:
    """The optimum and what is known about it.

    ``x`` ``(n,)``; ``covariance`` ``(n, n)`` for the stated standard deviations (not scaled by ``s0``);
    ``residual`` ``(m,)`` = adjusted - observed; ``redundancy`` ``(m,)``; ``prior_redundancy`` ``(n,)``;
    ``square_sum`` the weighted square sum, priors included; ``freedom`` its degrees of freedom;
    ``iterations``; ``converged``; ``minimum`` whether the second-order check held.
    """

    x: Array
    covariance: Array
    residual: Array
    redundancy: Array
    prior_redundancy: Array
    square_sum: float
    freedom: int
    iterations: int
    converged: bool
    minimum: bool

    @property
    def s0(self) -> float:
        """Return the a-posteriori standard deviation of unit weight (1 where nothing is redundant)."""
        return float(np.sqrt(self.square_sum / self.freedom)) if self.freedom > 0 else 1.0


@dataclass(frozen=True, slots=True)
class _Place:
    """The problem seen from ``x``: predicted observations, their Jacobian and the weighted square sum."""

    x: Array
    predicted: Array
    jacobian: Array
    square_sum: float


class _Problem:
    """The equations with their weights; an absent prior has weight zero."""

    def __init__(self, equations: Equations) -> None:
        self.equations = equations
        weight, observed = equations.sd**-2, equations.observed
        self.scatter = 0.0
        if equations.rows is not None:
            # repeats of a line enter as their weighted mean: the optimum is the same, and their scatter about the
            # mean, which no parameter touches, is kept aside for the square sum
            total: Array = np.bincount(equations.rows, weight).astype(np.float64)
            observed = np.bincount(equations.rows, weight * observed) / total
            self.scatter = float(weight @ (equations.observed - observed[equations.rows]) ** 2)
            weight = total
        self.observed, self.weight, self.root_weight = observed, weight, np.sqrt(weight)
        self.prior_weight = equations.prior_sd**-2
        self.held = np.isfinite(equations.prior_sd)
        self.inner = None if equations.inner is None else np.linalg.qr(equations.inner)[0]

    def at(self, x: Array) -> _Place:
        predicted, jacobian = self.equations.predict(x)
        return _Place(x, predicted, jacobian, self._square_sum(x, predicted))

    def _square_sum(self, x: Array, predicted: Array) -> float:
        misfit = self.root_weight * (predicted - self.observed)
        return float(misfit @ misfit + self.prior_weight @ self._prior_misfit(x) ** 2) + self.scatter

    def _prior_misfit(self, x: Array) -> Array:
        return np.where(self.held, self.equations.prior - x, 0.0)

    def gradient(self, here: _Place) -> Array:
        """Return the downhill gradient of half the square sum, ``(n,)``."""
        misfit = self.weight * (self.observed - here.predicted)
        return here.jacobian.T @ misfit + self.prior_weight * self._prior_misfit(here.x)

    def normal(self, here: _Place) -> tuple[Array, Array]:
        """Return the scaled normal matrix and the scale ``(n,)`` with ``N = D^-1 scaled D^-1``."""
        design = here.jacobian * self.root_weight[:, None]
        normal = design.T @ design
        diagonal: Array = np.einsum("ii->i", normal)  # a view
        diagonal += self.prior_weight
        if self.inner is not None:
            normal += self.inner @ self.inner.T * float(np.mean(diagonal))
        scale = 1.0 / np.sqrt(diagonal)
        normal *= scale
        normal *= scale[:, None]
        return normal, scale

    def covariance(self, here: _Place, normal: Array, scale: Array) -> Array:
        inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        inverse *= scale
        inverse *= scale[:, None]
        if self.inner is None:
            return inverse
        # take off exactly what the datum's equations added: the null space at the optimum is not quite ``inner``
        design = here.jacobian * self.root_weight[:, None]
        diagonal: Array = (design**2).sum(axis=0) + self.prior_weight
        shift = float(diagonal.mean())
        datum = inverse @ self.inner
        return np.asarray(inverse - shift * datum @ datum.T, dtype=np.float64)


def adjust(
    equations: Equations, start: Array | None = None, *, most_iterations: int = 30, careful: bool = True
) -> Adjusted:
    """Solve ``equations`` from ``start`` ``(n,)`` (default: the priors).

    Steps that would raise the weighted square sum are halved. Converged when the Gauss-Newton decrement, the
    fall of the square sum that the next step promises, is below 1e-12 of a unit-weight square or of the
    present sum: that step, the last one taken, moves a parameter by some hundred-thousandths of its standard
    deviation at most, and what is left after it is a tenth of that or less.

    Without ``careful`` the last step may be a hundred times larger and the second-order check is left out
    (``minimum`` is then taken as true): for what is looked at while measuring, not for what is stated.
    """
    enough = 1e-12 if careful else 1e-8
    problem = _Problem(equations)
    here = problem.at(np.array(equations.prior if start is None else start, dtype=np.float64))
    normal, scale = problem.normal(here)
    converged, iterations = False, 0
    while iterations < most_iterations:
        iterations += 1
        gradient = problem.gradient(here)
        step = scale * np.linalg.solve(normal, scale * gradient)
        decrement = float(gradient @ step)
        if decrement <= enough * max(1.0, here.square_sum):
            # the last step is at hand, so it is taken, on the linear model: its bend is far below rounding
            ahead = here.predicted + here.jacobian @ step
            here = _Place(here.x + step, ahead, here.jacobian, here.square_sum - decrement)
            converged = True
            break
        lower = _descend(problem, here, step)
        if lower is None:  # rounding, not the model, now decides: the optimum is reached as closely as doubles allow
            converged = decrement <= 1e-9 * max(1.0, here.square_sum)
            break
        here = lower
        normal, scale = problem.normal(here)
    covariance = problem.covariance(here, normal, scale)
    minimum = _is_minimum(problem, here, covariance) if careful else True
    return _describe(problem, here, covariance, iterations, converged, minimum)


def _descend(problem: _Problem, here: _Place, step: Array) -> _Place | None:
    for _ in range(12):
        trial = problem.at(here.x + step)
        if trial.square_sum <= here.square_sum:
            return trial
        step = step / 2
    return None


def _describe(
    problem: _Problem, here: _Place, covariance: Array, iterations: int, converged: bool, minimum: bool
) -> Adjusted:
    equations = problem.equations
    leverage = np.einsum("ij,ij->i", here.jacobian @ covariance, here.jacobian)
    defect = 0 if problem.inner is None else problem.inner.shape[1]
    rows = np.arange(len(equations.observed)) if equations.rows is None else equations.rows
    return Adjusted(
        x=here.x,
        covariance=covariance,
        residual=here.predicted[rows] - equations.observed,
        redundancy=1.0 - leverage[rows] / equations.sd**2,
        prior_redundancy=1.0 - problem.prior_weight * np.diag(covariance),
        square_sum=here.square_sum,
        freedom=len(rows) + int(np.count_nonzero(problem.held)) + defect - len(here.x),
        iterations=iterations,
        converged=converged,
        minimum=minimum,
    )


def _is_minimum(problem: _Problem, here: _Place, covariance: Array) -> bool:
    """Check the second-order condition along the softest direction.

    The Hessian of half the square sum is ``N + sum(w v f'')``. Along the direction of largest variance ``N``
    is weakest, so a saddle shows there first. Power iteration comes as close to it as is needed: any direction
    ``C y`` of length ``sqrt(y' C y)`` is one standard deviation long, where the curvature of ``N`` is exactly 1.
    """
    equations = problem.equations
    y = np.zeros(len(here.x))
    y[int(np.argmax(np.diag(covariance)))] = 1.0
    for _ in range(12):
        along = covariance @ y
        y = along / np.sqrt(along @ along)
    along = covariance @ y
    step = along / np.sqrt(y @ along)
    ahead, _ = equations.predict(here.x + step)
    behind, _ = equations.predict(here.x - step)
    bend = ahead - 2.0 * here.predicted + behind
    return bool(1.0 + float((problem.weight * (here.predicted - problem.observed)) @ bend) > 0.0)
