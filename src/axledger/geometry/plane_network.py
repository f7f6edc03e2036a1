"""A plane distance network of free points: the textbook case of the one solver."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from axledger.geometry.adjustment import Adjusted, Array, Equations, adjust

__all__ = ["PlaneDistance", "adjust_plane", "inner_constraints"]


@dataclass(frozen=True, slots=True)
class PlaneDistance:
    """A horizontal distance between two named points, m, and its standard deviation, m."""

    start: str
    end: str
    length_m: float
    sd_m: float


def inner_constraints(points: Array) -> Array:
    """Return the datum defect of a plane distance network: two shifts and one turn, ``(2 k, 3)``.

    ``points`` is ``(k, 2)``, m. Coordinates are centred first so that the turn does not swamp the shifts.
    """
    centred = points - points.mean(axis=0)
    basis = np.zeros((2 * len(points), 3))
    basis[0::2, 0] = 1.0
    basis[1::2, 1] = 1.0
    basis[0::2, 2], basis[1::2, 2] = -centred[:, 1], centred[:, 0]
    return basis


def adjust_plane(
    start: Mapping[str, tuple[float, float]],
    distances: Sequence[PlaneDistance],
    *,
    fixed: Mapping[str, tuple[float, float]] | None = None,
) -> tuple[tuple[str, ...], Adjusted]:
    """Adjust plane distances; return the order of the unknown points and the solution.

    ``start`` gives approximate coordinates of the unknown points, ``fixed`` the known ones, both m. With no
    fixed point the network is free and inner constraints over all points set the datum. Unknown point ``i``
    of the returned order has ``x`` at ``2 i`` and ``y`` at ``2 i + 1``.
    """
    known = dict(fixed or {})
    names = tuple(start)
    everything = np.array([start[name] for name in names] + list(known.values()), dtype=np.float64)
    index = {name: number for number, name in enumerate((*names, *known))}
    heads = np.array([index[distance.start] for distance in distances])
    tails = np.array([index[distance.end] for distance in distances])
    rows = np.arange(len(distances))
    unknown = len(names)

    def predict(x: Array) -> tuple[Array, Array]:
        points = everything.copy()
        points[:unknown] = x.reshape(-1, 2)
        line = points[tails] - points[heads]
        length = np.hypot(line[:, 0], line[:, 1])
        unit = line / length[:, None]
        full = np.zeros((len(distances), len(points), 2))
        full[rows, tails] = unit
        full[rows, heads] -= unit
        return length, full[:, :unknown].reshape(len(distances), -1)

    first = everything[:unknown]
    equations = Equations(
        predict=predict,
        observed=np.array([distance.length_m for distance in distances]),
        sd=np.array([distance.sd_m for distance in distances]),
        prior=first.ravel(),
        prior_sd=np.full(2 * unknown, np.inf),
        inner=None if known else inner_constraints(first),
    )
    return names, adjust(equations)
