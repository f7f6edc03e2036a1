"""What is known of the settings when a job opens: the crew's factors and each target's bias, as its entry says it.

The opening of a job carries it, so that a replay needs no other job. A target's bias is counted along the vehicle,
forward positive, for the target as it hangs unturned on ``side``; on the other side it counts the other way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from axledger.job.layout import Layout, stations_of
from axledger.job.scales import KINDS, levels_of, mean_log, prior_of
from axledger.job.settings import MountKind
from axledger_calibration.cusum import Sums

__all__ = ["InForce", "Known", "in_force_body", "in_force_from", "marks_of", "targets_of"]

Body = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of one target, for the side it hangs on: its bias, and what it is watched against.

    ``reference_mm`` and ``reference_u_mm`` are of the quiet jobs and the enrolment, ``count`` how many they are.
    """

    bias_mm: float
    u_mm: float
    reference_mm: float
    reference_u_mm: float
    count: int
    sums: Sums = field(default_factory=Sums)

    @property
    def turned(self) -> Known:
        """Return the same for the target hung on the other side, the same side up."""
        return Known(
            bias_mm=-self.bias_mm, u_mm=self.u_mm, reference_mm=-self.reference_mm,
            reference_u_mm=self.reference_u_mm, count=self.count, sums=self.sums.turned,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class InForce:
    """``weights`` and ``freedom`` by kind (see ``scales``); ``targets`` by place; ``marks`` from place to mark."""

    weights: Mapping[MountKind, tuple[float, ...]] = field(default_factory=dict[MountKind, tuple[float, ...]])
    freedom: Mapping[MountKind, float] = field(default_factory=dict[MountKind, float])
    targets: Mapping[str, Known] = field(default_factory=dict[str, Known])
    marks: Mapping[str, str] = field(default_factory=dict[str, str])

    @classmethod
    def believed(cls) -> InForce:
        """Return settings as good as stated beyond doubt: what a plan is worth if they are, and no more."""
        return cls(weights={kind: tuple((levels_of(kind) == 1.0).astype(float).tolist()) for kind in KINDS})

    def weights_of(self, kind: MountKind) -> tuple[float, ...]:
        """Return the weights of a kind's levels: the crew's, else those of nobody known."""
        return self.weights.get(kind) or tuple(prior_of(kind).tolist())

    def factor(self, kind: MountKind) -> float:
        """Return the factor by which a kind's stated sds are multiplied before the job: 1 while nothing is known."""
        return math.exp(mean_log(kind, self.weights[kind])) if kind in self.weights else 1.0

    def without_targets(self) -> InForce:
        """Return the same without what is known of single targets."""
        return InForce(weights=self.weights, freedom=self.freedom, marks=self.marks)


def targets_of(layout: Layout) -> dict[str, tuple[MountKind, str]]:
    """Return every target that has a setting of its own kind: its kind and its side ("L", "R"), by place."""
    return {
        station.target: (station.mount.kind, "L" if station.side > 0 else "R")
        for unit in layout.unit
        for station in stations_of(unit)
        if station.mount.kind in KINDS
    }


def marks_of(layout: Layout) -> dict[str, str]:
    """Return the mark each place's target has unless said otherwise: kind, number over the vehicle, side."""
    count: dict[MountKind, dict[str, int]] = {}
    marks: dict[str, str] = {}
    for place, (kind, side) in targets_of(layout).items():
        seen = count.setdefault(kind, {})
        seen[side] = seen.get(side, 0) + 1
        marks[place] = f"{kind.value}-{seen[side]}{side}"
    return marks


def in_force_body(in_force: InForce) -> Body:
    """Return it as JSON data for the opening of a job."""
    return {
        "scales": {
            kind.value: {"weights": list(weights), "freedom": in_force.freedom.get(kind, 0.0)}
            for kind, weights in in_force.weights.items()
        },
        "targets": {
            place: {
                "bias_mm": known.bias_mm, "u_mm": known.u_mm, "reference_mm": known.reference_mm,
                "reference_u_mm": known.reference_u_mm, "count": known.count,
                "high": known.sums.high, "low": known.sums.low,
            }
            for place, known in in_force.targets.items()
        },
    }  # fmt: skip


def in_force_from(body: Mapping[str, Any], marks: Mapping[str, str]) -> InForce:
    """Read what ``in_force_body`` wrote; an empty ``body`` (an older job) knows nothing."""
    scales = body.get("scales", {})
    return InForce(
        weights={MountKind(kind): tuple(one["weights"]) for kind, one in scales.items()},
        freedom={MountKind(kind): float(one["freedom"]) for kind, one in scales.items()},
        targets={
            place: Known(
                bias_mm=one["bias_mm"], u_mm=one["u_mm"], reference_mm=one["reference_mm"],
                reference_u_mm=one["reference_u_mm"], count=one["count"], sums=Sums(one["high"], one["low"]),
            )
            for place, one in body.get("targets", {}).items()
        },
        marks=marks,
    )  # fmt: skip
