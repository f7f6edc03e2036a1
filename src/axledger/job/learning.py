"""What a round teaches about its settings: the factors of the kinds, and the bias of every target.

Stated with the job at its close, so that the next job can start from it (``target_history``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.mixture import factor_information, mix, weigh
from axledger.job.in_force import InForce, Known
from axledger.job.mixture import Mixing
from axledger.job.scales import alarm_at, levels_of, mean_log
from axledger.job.settings import MountKind
from axledger.job.solution import Solution
from axledger_calibration.cusum import LIMIT, Sums

__all__ = ["KindLearned", "Learned", "TargetLearned", "learned_from"]

Array = NDArray[np.float64]

_LOG_FACTOR_SD = 0.5
"""How far a kind's factor may lie from another's, as an sd of its logarithm: for what one kind could explain too."""
_MOST_HALF_U_MM = 0.6
"""A half difference less certain than this is none: the target was not turned, or not looked at."""
_QUIET = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class KindLearned:
    """One kind: ``weights`` of its levels after the round, ``carried`` before it, the independent errors seen.

    ``freedom`` counts those of this round, ``seen`` all so far. ``factor`` is what the settings are taken as, in units
    of the stated ones. ``alarm``: larger than chance allows for settings as good as stated.
    """

    weights: tuple[float, ...]
    carried: tuple[float, ...]
    freedom: float
    seen: float
    factor: float
    alarm: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetLearned:
    """One target, on ``place``: its bias now, the half difference of this round alone, and what it is watched against.

    ``half_mm`` is ``None`` where the target was not turned; ``known`` is ``None`` where next to nothing is known of its
    bias, or where the alarm has put the history out of force.
    """

    kind: MountKind
    mark: str
    side: str
    bias_mm: float
    u_mm: float
    half_mm: float | None
    half_u_mm: float | None
    known: Known | None
    alarm: bool
    was_known: bool = False
    """Whether its bias was known before the job, and the job was solved with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """All of it: ``kinds``, and ``targets`` by place."""

    kinds: Mapping[MountKind, KindLearned]
    targets: Mapping[str, TargetLearned]


def learned_from(solution: Solution, before: InForce, sides: Mapping[str, str]) -> Learned:
    """Return what ``solution`` teaches; ``before`` was in force at its opening; ``sides`` of the targets by place."""
    model, settings = solution.model, solution.settings
    biases = [(number, one) for number, one in model.settings.items() if one.part == "bias" and one.place in sides]
    numbers = [number for number, _ in biases]
    rows = np.zeros((len(numbers), len(model.prior)))
    rows[np.arange(len(numbers)), numbers] = 1.0
    evidence = (
        Mixing(model, settings.in_force)
        .evidence_of(
            solution.adjusted.x, solution.adjusted.covariance, gradients=rows, values=solution.adjusted.x[numbers]
        )
        .evidence
    )
    factors, prior = settings.grid(careful=True)
    weighed = weigh(evidence, factors, prior)
    mixed = mix(weighed)
    typical = np.sqrt(weighed.weight @ weighed.factors**2)
    there = weigh(evidence, typical[None], np.ones(1))
    targets: dict[str, TargetLearned] = {}
    for index, (number, one) in enumerate(biases):
        scale = float(typical[settings.kinds.index(one.kind)]) if one.scaled else 1.0
        prior_mm = (float(model.prior[number]) * 1e3, float(model.prior_sd[number]) * scale * 1e3)
        found = (float(there.mean[0, index]) * 1e3, float(there.variance[0, index]) * 1e6)
        now = (float(mixed.mean[index]) * 1e3, float(mixed.u[index]) * 1e3)
        targets[one.place] = _target(
            one.kind, before.marks.get(one.place, one.place), sides[one.place], before.targets.get(one.place),
            prior_mm, found, now, was_known=not one.scaled,
        )  # fmt: skip
    return Learned(kinds=_kinds(solution, factors, weighed.weight), targets=targets)


def _kinds(solution: Solution, factors: Array, weight: Array) -> dict[MountKind, KindLearned]:
    settings = solution.settings
    as_stated = np.array([1.0 / settings.in_force.factor(kind) for kind in settings.kinds])
    told = 0.5 * factor_information(settings.evidence, as_stated, _LOG_FACTOR_SD**-2)
    kinds: dict[MountKind, KindLearned] = {}
    for index, kind in enumerate(settings.kinds):
        levels = levels_of(kind) / settings.in_force.factor(kind)
        # the grid is a product, so each of its factors is one of the kind's levels
        nearest = np.abs(np.log(factors[:, index, None] / levels)).argmin(axis=1)
        weights: Array = np.bincount(nearest, weight, minlength=len(levels)).astype(np.float64)
        seen = settings.in_force.freedom.get(kind, 0.0) + float(told[index])
        mean = mean_log(kind, weights)
        kinds[kind] = KindLearned(
            weights=tuple(weights.tolist()), carried=settings.in_force.weights_of(kind), freedom=float(told[index]),
            seen=seen, factor=math.exp(mean), alarm=mean > alarm_at(kind, seen),
        )  # fmt: skip
    return kinds


def _target(
    kind: MountKind, mark: str, side: str, before: Known | None, prior: tuple[float, float],
    found: tuple[float, float], now: tuple[float, float], *, was_known: bool,
) -> TargetLearned:  # fmt: skip
    """Put one target together; pairs are mean and sd, ``found`` mean and variance, all mm."""
    gained = 1.0 / max(found[1], 1e-12) - 1.0 / prior[1] ** 2
    half: tuple[float, float] | None = None
    if gained > _MOST_HALF_U_MM**-2:
        half = ((found[0] / found[1] - prior[0] / prior[1] ** 2) / gained, gained**-0.5)
    watched = _watched(before, half)
    alarm = watched is not None and watched.sums.alarm
    # a bias that is hardly known stays with its kind's factor, which it shares with the other targets
    learned = before is not None or now[1] ** 2 < 0.5 * prior[1] ** 2
    known: Known | None = None
    if learned and not alarm:
        at_first = Known(bias_mm=now[0], u_mm=now[1], reference_mm=now[0], reference_u_mm=now[1], count=0)
        known = replace(watched or at_first, bias_mm=now[0], u_mm=now[1])
    return TargetLearned(
        kind=kind, mark=mark, side=side, bias_mm=now[0], u_mm=now[1], half_mm=half[0] if half is not None else None,
        half_u_mm=half[1] if half is not None else None, known=known, alarm=alarm,
        was_known=was_known,
    )  # fmt: skip


def _watched(before: Known | None, half: tuple[float, float] | None) -> Known | None:
    """Return what a target is watched against after a half difference (mean, sd), its bias still to be filled in."""
    if half is None:
        return before
    if before is None:
        return Known(bias_mm=0.0, u_mm=0.0, reference_mm=half[0], reference_u_mm=half[1], count=1)
    deviation = (half[0] - before.reference_mm) / math.hypot(half[1], before.reference_u_mm)
    sums = before.sums.after(deviation)
    if abs(deviation) > _QUIET or max(sums.high, sums.low) > LIMIT / 2:
        return replace(before, sums=sums)
    # quiet: what it is watched against becomes more certain
    weights = (before.reference_u_mm**-2, half[1] ** -2)
    total = sum(weights)
    mean = (weights[0] * before.reference_mm + weights[1] * half[0]) / total
    return replace(
        before, reference_mm=mean, reference_u_mm=total**-0.5, count=before.count + 1, sums=Sums(sums.high, sums.low)
    )
