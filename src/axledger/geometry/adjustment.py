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
Predict = Callable[[Array], tuple[Array, Array]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Equations:
    """A least-squares problem.

    ``predict(x)`` returns the predicted observations ``(m,)`` and their Jacobian ``(m, n)``.
    ``observed`` ``(m,)`` and ``sd`` ``(m,)`` in the unit of each observation.
    ``prior`` ``(n,)`` and ``prior_sd`` ``(n,)`` in the unit of each parameter; ``inf`` means no prior.
    ``inner`` ``(n, d)`` spans the datum defect of a free network (orthonormalised here), or ``None``.
    """

    predict: Predict
    observed: Array
    sd: Array
    prior: Array
    prior_sd: Array
    inner: Array | None = None


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


def adjust(equations: Equations, start: Array | None = None, *, most_iterations: int = 30) -> Adjusted:
    """Solve ``equations`` from ``start`` ``(n,)`` (default: the priors).

    Steps that would raise the weighted square sum are halved. Converged when the Gauss-Newton decrement, the
    fall of the square sum that the next step promises, is below 1e-13 of a unit-weight square or of the
    present sum: that step, the last one taken, moves a parameter by some millionths of its standard deviation
    at most.
    """
    x = np.array(equations.prior if start is None else start, dtype=np.float64)
    weight, prior_weight = equations.sd**-2, equations.prior_sd**-2
    inner = None if equations.inner is None else np.linalg.qr(equations.inner)[0]
    predicted, jacobian = equations.predict(x)
    square_sum = _square_sum(equations, x, predicted, weight, prior_weight)
    converged, iterations = False, 0
    while iterations < most_iterations:
        iterations += 1
        normal, scale = _normal(jacobian, weight, prior_weight, inner)
        gradient = jacobian.T @ (weight * (equations.observed - predicted)) + prior_weight * _offset(equations, x)
        step = scale * np.linalg.solve(normal, scale * gradient)
        decrement = float(gradient @ step)
        if decrement <= 1e-13 * max(1.0, square_sum):
            # the last step is at hand, so it is taken, on the linear model: its bend is far below rounding
            x, predicted, square_sum = x + step, predicted + jacobian @ step, square_sum - decrement
            converged = True
            break
        x, predicted, jacobian, square_sum, moved = _descend(
            equations, x, step, square_sum, weight, prior_weight, (predicted, jacobian)
        )
        if not moved:  # rounding, not the model, now decides: the optimum is reached as closely as doubles allow
            converged = decrement <= 1e-9 * max(1.0, square_sum)
            break
    return _describe(equations, x, predicted, jacobian, weight, prior_weight, inner, square_sum, iterations, converged)


def _offset(equations: Equations, x: Array) -> Array:
    # inf priors have weight zero; 0 * (inf - x) would be nan, so a missing prior counts as met
    return np.where(np.isfinite(equations.prior_sd), equations.prior - x, 0.0)


def _square_sum(equations: Equations, x: Array, predicted: Array, weight: Array, prior_weight: Array) -> float:
    misfit = predicted - equations.observed
    return float(weight @ misfit**2 + prior_weight @ _offset(equations, x) ** 2)


def _normal(jacobian: Array, weight: Array, prior_weight: Array, inner: Array | None) -> tuple[Array, Array]:
    """Return the scaled normal matrix and the scale ``(n,)`` with ``N = D^-1 scaled D^-1``."""
    normal = (jacobian.T * weight) @ jacobian
    normal[np.diag_indices_from(normal)] += prior_weight
    if inner is not None:
        normal += inner @ inner.T * float(np.mean(np.diag(normal)))
    scale = 1.0 / np.sqrt(np.diag(normal))
    return normal * scale[:, None] * scale, scale


def _descend(
    equations: Equations,
    x: Array,
    step: Array,
    square_sum: float,
    weight: Array,
    prior_weight: Array,
    here: tuple[Array, Array],
) -> tuple[Array, Array, Array, float, bool]:
    for _ in range(12):
        trial = x + step
        predicted, jacobian = equations.predict(trial)
        lower = _square_sum(equations, trial, predicted, weight, prior_weight)
        if lower <= square_sum:
            return trial, predicted, jacobian, lower, True
        step = step / 2
    return x, here[0], here[1], square_sum, False


def _describe(
    equations: Equations,
    x: Array,
    predicted: Array,
    jacobian: Array,
    weight: Array,
    prior_weight: Array,
    inner: Array | None,
    square_sum: float,
    iterations: int,
    converged: bool,
) -> Adjusted:
    normal, scale = _normal(jacobian, weight, prior_weight, inner)
    covariance = np.linalg.inv(normal) * scale[:, None] * scale
    defect = 0
    if inner is not None:
        defect = inner.shape[1]
        # take off exactly what the datum's equations added: the null space at the optimum is not quite ``inner``
        shift = float(np.mean(np.diag((jacobian.T * weight) @ jacobian) + prior_weight))
        datum = covariance @ inner
        covariance = covariance - shift * datum @ datum.T
    leverage = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian, optimize=True)
    priors = int(np.count_nonzero(np.isfinite(equations.prior_sd)))
    return Adjusted(
        x=x,
        covariance=covariance,
        residual=predicted - equations.observed,
        redundancy=1.0 - weight * leverage,
        prior_redundancy=1.0 - prior_weight * np.diag(covariance),
        square_sum=square_sum,
        freedom=len(predicted) + priors + defect - len(x),
        iterations=iterations,
        converged=converged,
        minimum=_is_minimum(equations, x, predicted, weight, covariance),
    )


def _is_minimum(equations: Equations, x: Array, predicted: Array, weight: Array, covariance: Array) -> bool:
    """Check the second-order condition along the softest direction.

    The Hessian of half the square sum is ``N + sum(w v f'')``. Along the direction of largest variance ``N``
    is weakest (curvature 1 for a step of one standard deviation), so a saddle shows there first.
    """
    variances, directions = np.linalg.eigh(covariance)
    step = np.sqrt(max(float(variances[-1]), 0.0)) * directions[:, -1]
    ahead, _ = equations.predict(x + step)
    behind, _ = equations.predict(x - step)
    bend = ahead - 2.0 * predicted + behind
    return bool(1.0 + float((weight * (predicted - equations.observed)) @ bend) > 0.0)
