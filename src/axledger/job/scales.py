"""How much worse than stated the settings of a kind may be: one factor per kind, on a few levels with weights.

The factor multiplies every setting sd of its kind (bias, seating, hub, rest, across, end); the half-spacing and
the free place of a rail target are no settings and keep theirs. Levels and weights are working figures of our
own, chosen by simulation: wide enough for settings three times worse than stated, with a floor at 0.7.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from axledger.job.settings import MountKind

__all__ = ["KINDS", "KIND_WORDS", "alarm_at", "coarse", "levels_of", "mean_log", "prior_of", "shifted"]

Array = NDArray[np.float64]

KINDS = (MountKind.HUB, MountKind.STRAIGHTEDGE, MountKind.INBOARD, MountKind.RAIL)
"""The kinds with a factor of their own, in the order of every array over kinds."""

KIND_WORDS = {
    MountKind.HUB: "hub targets",
    MountKind.STRAIGHTEDGE: "straightedges",
    MountKind.INBOARD: "inboard targets",
    MountKind.RAIL: "rail targets",
}

_WIDE = ((0.7, 1.0, 1.4, 2.0, 2.9, 4.0), (0.08, 0.26, 0.26, 0.22, 0.12, 0.06))
_NARROW = ((1.0, 1.4, 2.0, 2.9), (0.35, 0.30, 0.22, 0.13))
_GRIDS = {
    MountKind.HUB: _WIDE, MountKind.STRAIGHTEDGE: _WIDE, MountKind.INBOARD: _NARROW, MountKind.RAIL: _NARROW,
}  # fmt: skip


def levels_of(kind: MountKind) -> Array:
    """Return the levels of a kind's factor, least first."""
    return np.array(_GRIDS[kind][0])


def prior_of(kind: MountKind) -> Array:
    """Return the weights of the levels before anything is known of the crew."""
    return np.array(_GRIDS[kind][1])


def mean_log(kind: MountKind, weights: Sequence[float] | Array) -> float:
    """Return the weighted mean of ``ln factor``."""
    return float(np.asarray(weights) @ np.log(levels_of(kind)))


def coarse(levels: Array, weights: Array) -> tuple[Array, Array]:
    """Return half as many levels (of an even number): neighbours in pairs, each pair at its weighted mean square."""
    pairs, paired = levels.reshape(-1, 2) ** 2, weights.reshape(-1, 2)
    total = paired.sum(axis=1)
    # a pair without weight stands at its plain mean
    share = np.divide(paired, total[:, None], out=np.full_like(paired, 0.5), where=total[:, None] > 0.0)
    return np.sqrt((pairs * share).sum(axis=1)), total


def shifted(weights: Mapping[MountKind, Sequence[float]], kind: MountKind, score: Array) -> Array:
    """Return a kind's weights after evidence of log-likelihood ``score`` per level."""
    new = np.asarray(weights[kind]) * np.exp(score - score.max())
    return np.asarray(new / new.sum(), dtype=np.float64)


_NORMAL_99 = 2.3263
_LEAST_FREEDOM = 1.0


def alarm_at(kind: MountKind, freedom: float) -> float:
    """Return the mean of ``ln factor`` that settings as good as stated exceed in one of a hundred cases.

    ``freedom`` is the number of independent setting errors seen so far (half of Fisher's information on ``ln
    factor``, summed over plan and history). Their mean square is like chi-squared over its freedom; at its 99 %
    point (cube-root approximation of Wilson and Hilferty, 1931) the weights give the threshold. With fewer than
    one seen there is no alarm.
    """
    if freedom < _LEAST_FREEDOM:
        return math.inf
    spread = 2.0 / (9.0 * freedom)
    square = (1.0 - spread + _NORMAL_99 * math.sqrt(spread)) ** 3
    levels = levels_of(kind)
    score = -freedom * (np.log(levels) + square / (2.0 * levels**2))
    return mean_log(kind, shifted({kind: tuple(prior_of(kind))}, kind, score))
