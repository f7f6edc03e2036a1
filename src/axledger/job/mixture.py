"""The solution of a round over all factors its settings may have: what each result then is, and why.

Pure arrays in ``axledger.geometry.mixture``; here the parameters of a job get their kinds, levels and weights.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Adjusted
from axledger.geometry.mixture import Evidence, Mixed, contributions, eliminate, mix, product_grid, weigh
from axledger.job.in_force import InForce
from axledger.job.model import Model
from axledger.job.scales import KINDS, coarse, levels_of
from axledger.job.settings import MountKind

__all__ = ["Gate", "Mixing", "SettingEvidence", "Spread", "gate_of"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingEvidence:
    """What a round's readings say of its settings. ``kinds`` are those it has; ``columns`` their parameters."""

    kinds: tuple[MountKind, ...]
    columns: Index
    evidence: Evidence
    in_force: InForce

    def grid(self, *, careful: bool) -> tuple[Array, Array]:
        """Return the factors, relative to what the solution already took, and their prior weights."""
        return _grid(self.kinds, self.in_force, careful=careful)


def _grid(kinds: tuple[MountKind, ...], in_force: InForce, *, careful: bool) -> tuple[Array, Array]:
    levels: list[Array] = []
    weights: list[Array] = []
    for kind in kinds:
        level, weight = levels_of(kind), np.array(in_force.weights_of(kind))
        if not careful:
            level, weight = coarse(level, weight)
            if kind is MountKind.RAIL:  # of which a walk says next to nothing: their mean square does
                level, weight = coarse(level, weight)
        levels.append(level / in_force.factor(kind))
        weights.append(weight)
    return product_grid(levels, weights)


class Mixing:
    """What a model's mixtures need again and again, worked out once per model."""

    def __init__(self, model: Model, in_force: InForce) -> None:
        scaled = [(number, one.kind) for number, one in model.settings.items() if one.scaled]
        self.model, self.in_force = model, in_force
        self.kinds = tuple(kind for kind in KINDS if any(one is kind for _, one in scaled))
        self.columns = np.array([number for number, _ in scaled], dtype=np.int64)
        self._kind = np.array([self.kinds.index(kind) for _, kind in scaled], dtype=np.int64)
        # what has no factor (targets that are known, the pin, the instruments) brings what it does at the stated sds
        free = [number for number, one in model.settings.items() if not one.scaled]
        self._others = np.array([*free, *_instruments(model)], dtype=np.int64)
        names = [_part_of(model, number) for number in (*self.columns.tolist(), *self._others.tolist())]
        self._parts = tuple(dict.fromkeys(names))
        self._gather = np.array([[name == part for part in self._parts] for name in names], dtype=np.float64)
        self._gather = self._gather.reshape(len(names), len(self._parts))
        self._grids: dict[bool, tuple[Array, Array]] = {}

    def evidence_of(self, x: Array, covariance: Array, *, gradients: Array, values: Array) -> SettingEvidence:
        """Eliminate all but the setting errors; ``gradients`` ``(p, n)`` and ``values`` ``(p,)`` of ``p`` results."""
        spread = gradients @ covariance
        evidence = eliminate(
            x[self.columns] - self.model.prior[self.columns],
            covariance[np.ix_(self.columns, self.columns)],
            self.model.prior_sd[self.columns],
            self._kind,
            len(self.kinds),
            shared=spread[:, self.columns],
            value=values,
            variance=np.einsum("ij,ij->i", spread, gradients),
        )
        return SettingEvidence(kinds=self.kinds, columns=self.columns, evidence=evidence, in_force=self.in_force)

    def spread_of(
        self, settings: SettingEvidence, covariance: Array, gradients: Array, *, careful: bool, forecast: bool = False
    ) -> Spread:
        """Return what the results are over all factors; a ``forecast`` has no readings, expects settings as taken."""
        if careful not in self._grids:
            self._grids[careful] = settings.grid(careful=careful)
        at = np.ones(len(self.kinds)) if forecast else None
        weighed = weigh(settings.evidence, *self._grids[careful], expected_at=at)
        typical = np.sqrt(weighed.weight @ weighed.factors**2)
        brought, whole = contributions(settings.evidence, typical)
        fixed = (gradients @ covariance[:, self._others] / self.model.prior_sd[self._others]) ** 2
        amounts = np.hstack((brought, fixed)) @ self._gather
        shares, weakest = _told(self._parts, np.minimum(amounts / np.maximum(whole, 1e-300)[:, None], 1.0))
        return Spread(mixed=mix(weighed), typical=typical, shares=shares, weakest=weakest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Every result over the factors: ``mixed``; where its variance comes from: ``shares`` and ``weakest`` per result.

    ``weakest`` is the kind of setting with the largest share and the larger part of it, such as "hub.bias".
    ``typical`` ``(kinds,)`` are the factors' weighted root mean squares, relative to what the solution took.
    """

    mixed: Mixed
    typical: Array
    shares: tuple[Mapping[str, float], ...]
    weakest: tuple[str, ...]


def _part_of(model: Model, number: int) -> str:
    one = model.settings.get(number)
    return "zero" if one is None else f"{one.kind.value}.{one.part}"


def _told(parts: tuple[str, ...], amounts: Array) -> tuple[tuple[Mapping[str, float], ...], tuple[str, ...]]:
    """Return the shares by kind and the weakest part of every result from the shares of parts ``(p, parts)``."""
    kinds = tuple(dict.fromkeys(part.split(".")[0] for part in parts))
    by_kind = np.array([[part.split(".")[0] == kind for kind in kinds] for part in parts], dtype=np.float64)
    sums = amounts @ by_kind.reshape(len(parts), len(kinds))
    shares: list[Mapping[str, float]] = []
    weakest: list[str] = []
    settings = [number for number, kind in enumerate(kinds) if kind != "zero"]
    for row, of_kinds in zip(amounts.tolist(), sums.tolist(), strict=True):
        told = dict(zip(kinds, of_kinds, strict=True))
        told["readings"] = max(0.0, 1.0 - sum(of_kinds))
        shares.append(told)
        worst = kinds[max(settings, key=of_kinds.__getitem__)] if settings else ""
        own = [number for number, part in enumerate(parts) if worst and part.startswith(f"{worst}.")]
        weakest.append(parts[max(own, key=row.__getitem__)] if own else "")
    return tuple(shares), tuple(weakest)


def _instruments(model: Model) -> list[int]:
    return [number for number, name in enumerate(model.names) if name.rsplit(".", 1)[-1] in ("zero", "scale")]


@dataclass(frozen=True, slots=True)
class Gate:
    """Whether a job fits what is known of its targets: ``statistic`` against the 99 % point of chi-squared."""

    statistic: float = 0.0
    freedom: int = 0

    @property
    def fits(self) -> bool:
        """Tell whether the history may be used (cube-root approximation of Wilson and Hilferty, 1931)."""
        if self.freedom == 0:
            return True
        spread = 2.0 / (9.0 * self.freedom)
        return self.statistic <= self.freedom * (1.0 - spread + 2.3263 * math.sqrt(spread)) ** 3


def gate_of(model: Model, adjusted: Adjusted) -> Gate:
    """Test the known biases against what the readings alone say of them.

    A prior's residual has the covariance ``P - C`` (prior less posterior); directions in which the readings add
    less than a twentieth of what was known say nothing.
    """
    known = [number for number, one in model.settings.items() if one.part == "bias" and not one.scaled]
    if not known:
        return Gate()
    sd = model.prior_sd[known]
    off = (adjusted.x[known] - model.prior[known]) / sd
    left, axes = np.linalg.eigh(np.eye(len(known)) - adjusted.covariance[np.ix_(known, known)] / sd / sd[:, None])
    told = left > 0.05
    return Gate(float(((axes.T @ off)[told] ** 2 / left[told]).sum()), int(told.sum()))
