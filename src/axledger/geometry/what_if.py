"""What more readings would do to the uncertainty of results, before they are taken.

A reading with row ``a`` (its derivative by the parameters) and standard deviation ``s`` changes a covariance ``C``
to ``C - C a a' C / (a' C a + s^2)`` (Sherman and Morrison 1950; Woodbury 1950 for several rows at once; from
memory). The value read does not enter, so every candidate can be weighed before anyone walks. All of it takes
place among the candidates themselves: their covariances with each other and with the results are all there is to
know, and a reading that is taken changes those.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Array

__all__ = ["Candidates", "candidates_of", "covariance_of"]

Which = Sequence[int] | NDArray[np.int64]
_WHOLE = 1e-9
"""A number of repeats this little above a whole number counts as that number: rounding, not a reading, made it."""


def covariance_of(jacobian: Array, sd: Array, prior_sd: Array) -> Array:
    """Return the covariance ``(n, n)`` of parameters with priors ``(n,)`` after readings ``(m, n)`` of sd ``(m,)``.

    A parameter that no reading touches, such as the seating of a target that is yet to be turned, keeps its prior.
    Scaled to a unit diagonal before it is inverted, because parameters mix metres and radians.
    """
    design = jacobian / sd[:, None]
    normal = design.T @ design + np.diag(prior_sd**-2)
    scale = 1.0 / np.sqrt(np.diag(normal))
    inverse: Array = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    return inverse


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """Lines that could be read, and the results they bear on.

    ``variance`` ``(r,)`` of the results; ``shared`` ``(m, r)`` covariance of each line with each result; ``spread``
    ``(m, m)`` covariance of the lines; ``noise`` ``(m,)`` variance of one reading of each. Lines are named by number;
    ``readings`` is how often each is read.
    """

    variance: Array
    shared: Array
    spread: Array
    noise: Array

    def alone(self, which: Which, readings: Sequence[int] | int = 1) -> Array:
        """Return by how much each line alone lowers the variance of each result, ``(k, r)``."""
        lines = np.asarray(which)
        own = self.spread[lines, lines] + self.noise[lines] / np.asarray(readings)
        return np.asarray(self.shared[lines] ** 2 / own[:, None])

    def together(self, which: Which, readings: Sequence[int] | int = 1) -> Array:
        """Return by how much all the lines, each of them read, lower the variance of each result, ``(r,)``."""
        lines = np.asarray(which)
        half = np.linalg.solve(self._root(lines, readings), self.shared[lines])
        return np.asarray((half**2).sum(axis=0))

    def after(self, which: Which, readings: Sequence[int] | int = 1) -> Candidates:
        """Return the candidates after the lines were read; they stay candidates."""
        lines = np.asarray(which)
        both = np.hstack((self.spread[lines], self.shared[lines]))
        half = np.linalg.solve(self._root(lines, readings), both)
        of_lines, of_results = half[:, : len(self.noise)], half[:, len(self.noise) :]
        return replace(
            self,
            variance=self.variance - (of_results**2).sum(axis=0),
            shared=self.shared - of_lines.T @ of_results,
            spread=self.spread - of_lines.T @ of_lines,
        )

    def _root(self, lines: NDArray[np.int64], readings: Sequence[int] | int) -> Array:
        """Return the lower Cholesky factor of the readings' covariance as predicted before they are taken."""
        own = self.spread[np.ix_(lines, lines)] + np.diag(self.noise[lines] / np.asarray(readings))
        return np.asarray(np.linalg.cholesky(own), dtype=np.float64)

    def needed(self, which: Which, wanted: Array) -> Array:
        """Return how many readings of each line alone bring each result to standard uncertainty ``wanted`` ``(r,)``.

        ``(k, r)`` of whole numbers as floats: 0 where it is there already, ``inf`` where no number is enough because
        settings or the meter's zero, which repeats share, hold it above ``wanted``. Closed form: ``n`` readings of
        one line count as one of variance ``noise / n``.
        """
        lines = np.asarray(which)
        missing = self.variance - wanted**2
        with np.errstate(divide="ignore", invalid="ignore"):
            room = self.shared[lines] ** 2 / missing - self.spread[lines, lines][:, None]
            count = np.where(room > 0.0, np.ceil(self.noise[lines][:, None] / room - _WHOLE), np.inf)
        return np.where(missing <= 0.0, 0.0, np.maximum(count, 1.0))

    def of_results(self, which: Which) -> Candidates:
        """Return the same lines for some of the results."""
        numbers = np.asarray(which)
        return replace(self, variance=self.variance[numbers], shared=self.shared[:, numbers])


def candidates_of(covariance: Array, gradients: Array, rows: Array, sd: Array) -> Candidates:
    """Return the candidates ``rows`` ``(m, n)`` with ``sd`` ``(m,)`` of one reading.

    ``covariance`` ``(n, n)`` of the parameters now, ``gradients`` ``(r, n)`` of the results.
    """
    through = rows @ covariance
    return Candidates(
        variance=np.einsum("ij,ij->i", gradients @ covariance, gradients),
        shared=through @ gradients.T,
        spread=through @ rows.T,
        noise=sd**2,
    )
