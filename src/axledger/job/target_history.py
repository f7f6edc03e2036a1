"""The history of targets and crews: enrolment of a target, what closed jobs stated, what is in force now.

A bias belongs to the target and goes by its mark; the factors of the kinds belong to the crew, which is the person
who opened the job. A new crew starts at the first weights, with the biases that are known.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from axledger.contract.errors import BadInput
from axledger.contract.transport import Stamp
from axledger.job.facts import Body, target_record
from axledger.job.in_force import InForce, Known, targets_of
from axledger.job.layout import Layout
from axledger.job.learning import Learned
from axledger.job.scales import KINDS, levels_of, prior_of, shifted
from axledger.job.settings import DEFAULT_SETTINGS, MountKind, Setting
from axledger.ledger import Ledger
from axledger_calibration.cusum import Sums

__all__ = ["Enrolment", "History", "enrol_target", "enrolment_of", "history_in", "learned_body", "targets_in"]

Array = NDArray[np.float64]

DRIFT_MM = 0.06
"""What a bias may change from one job to the next without anybody noticing; working figure of our own."""
_MEMORY = 40
"""How many of a crew's jobs its factors rest on: people and their habits change."""
_LOOK_SD_MM = 0.31
"""One look of five readings with a 0.7 mm meter."""
_FEWEST_PAIRS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Enrolment:
    """What half-turn pairs say of one target: its bias (forward positive, hung on ``side``) and its seating, mm.

    ``scatter_mm`` is the sd of one look: seating and readings together, with ``freedom`` degrees of freedom.
    """

    mark: str
    kind: MountKind
    side: str
    bias_mm: float
    u_mm: float
    seat_sd_mm: float
    scatter_mm: float
    freedom: int
    look_sd_mm: float
    pairs: tuple[tuple[float, float], ...]


def enrolment_of(
    mark: str, kind: MountKind, pairs: Sequence[tuple[float, float]], *, side: str = "", look_sd_mm: float = _LOOK_SD_MM
) -> Enrolment:
    """Evaluate half-turn pairs, each ``(before, after)`` mm, read from one station ahead of the target.

    ``before`` has the mark up; every look is seated afresh. Bias is half the mean difference; what is left after the
    distance and the bias are taken out is seating and reading. Its sd comes from few looks, hence the widening by
    freedom / (freedom - 2), the variance of Student's t, and it is not less than the readings'. Raises ``BadInput``
    for what cannot be a pair or a mark.
    """
    hung = side or (mark[-1:] if mark[-1:] in ("L", "R") else "")
    _check(mark, kind, pairs, hung)
    readings = np.array(pairs, dtype=np.float64)
    half = (readings[:, 1] - readings[:, 0]) / 2.0
    middle = readings.mean()
    rest = readings - middle - np.array([-1.0, 1.0]) * half.mean()
    freedom = readings.size - 2
    variance = float((rest**2).sum()) / freedom
    return Enrolment(
        mark=mark, kind=kind, side=hung, bias_mm=float(half.mean()),
        u_mm=math.sqrt(max(variance, look_sd_mm**2) / readings.size * freedom / (freedom - 2)),
        seat_sd_mm=math.sqrt(max(0.0, variance - look_sd_mm**2)), scatter_mm=math.sqrt(variance), freedom=freedom,
        look_sd_mm=look_sd_mm, pairs=tuple((float(before), float(after)) for before, after in pairs),
    )  # fmt: skip


def _check(mark: str, kind: MountKind, pairs: Sequence[tuple[float, float]], side: str) -> None:
    if not mark:
        raise BadInput("a target needs a mark", found="none", allowed="a name such as hub-1L", do="name it")
    if kind not in KINDS:
        raise BadInput(
            f"{kind.value} is no kind of target that can be turned", found=kind.value,
            allowed=", ".join(one.value for one in KINDS), do="name the kind",
        )  # fmt: skip
    if side not in ("L", "R"):
        raise BadInput(
            f"which side {mark} hangs on is not said", found=repr(mark),
            allowed="L or R at the end of the mark, or a side",
            do="enrol it as hub-1L, say, or name the side: the bias counts the other way on the other side",
        )  # fmt: skip
    if len(pairs) < _FEWEST_PAIRS:
        raise BadInput(
            f"{mark} cannot be enrolled from so few pairs", found=str(len(pairs)),
            allowed=f"{_FEWEST_PAIRS} or more, five as a rule", do="take more pairs, each look seated afresh",
        )  # fmt: skip
    most = 20.0
    for number, (before, after) in enumerate(pairs, 1):
        if not (math.isfinite(before) and math.isfinite(after) and before > 0 and after > 0):
            raise BadInput(
                f"pair {number} is no pair of readings", found=f"{before}/{after}",
                allowed="two lengths in mm above zero",
                do="enter it again",
            )  # fmt: skip
        if abs(after - before) > 2 * most:
            raise BadInput(
                f"pair {number} differs too much", found=f"{after - before:+.1f} mm",
                allowed=f"at most {2 * most:.0f} mm between the two looks of a pair",
                do="look for a slip of the unit or a reading of something else, and take the pair again",
            )  # fmt: skip


def enrol_target(ledger: Ledger, enrolment: Enrolment, *, person: str, stamp: Stamp) -> int:
    """Record a target's enrolment; return the entry's sequence number."""
    (entry,) = ledger.append([target_record(_enrolment_body(enrolment), person=person, stamp=stamp)])
    return entry.seq


def _enrolment_body(one: Enrolment) -> Body:
    return {
        "mark": one.mark, "target": one.kind.value, "side": one.side, "bias_mm": one.bias_mm, "u_mm": one.u_mm,
        "seat_sd_mm": one.seat_sd_mm, "scatter_mm": one.scatter_mm, "freedom": one.freedom,
        "look_sd_mm": one.look_sd_mm, "pairs": [list(pair) for pair in one.pairs],
    }  # fmt: skip


def _enrolment_from(body: Mapping[str, Any]) -> Enrolment:
    return Enrolment(
        mark=body["mark"], kind=MountKind(body["target"]), side=body["side"], bias_mm=body["bias_mm"],
        u_mm=body["u_mm"], seat_sd_mm=body["seat_sd_mm"], scatter_mm=body["scatter_mm"], freedom=body["freedom"],
        look_sd_mm=body["look_sd_mm"], pairs=tuple((before, after) for before, after in body["pairs"]),
    )  # fmt: skip


def targets_in(ledger: Ledger) -> dict[str, Enrolment]:
    """Return the newest enrolment of every target by mark."""
    return {str(entry.body["mark"]): _enrolment_from(entry.body) for entry in ledger.entries(kinds={"target"})}


def learned_body(learned: Learned) -> Body:
    """Return what a job learned as JSON data for its statement; targets by mark."""
    kinds = {
        kind.value: {
            "weights": list(one.weights), "carried": list(one.carried), "freedom": one.freedom, "factor": one.factor,
            "alarm": one.alarm,
        }
        for kind, one in learned.kinds.items()
    }  # fmt: skip
    targets: Body = {}
    for place, one in learned.targets.items():
        body: Body = {
            "target": one.kind.value, "place": place, "side": one.side, "bias_mm": one.bias_mm, "u_mm": one.u_mm,
            "half_mm": one.half_mm, "half_u_mm": one.half_u_mm, "alarm": one.alarm,
        }  # fmt: skip
        if one.known is not None:
            body["watch"] = {
                "reference_mm": one.known.reference_mm, "reference_u_mm": one.known.reference_u_mm,
                "count": one.known.count, "high": one.known.sums.high, "low": one.known.sums.low,
            }  # fmt: skip
        targets[one.mark] = body
    return {"kinds": kinds, "targets": targets}


@dataclass(frozen=True, slots=True)
class _OfMark:
    kind: MountKind
    side: str
    known: Known | None


class History:
    """What enrolments and statements add up to, taken in the order of the ledger."""

    def __init__(self) -> None:
        self._targets: dict[str, _OfMark] = {}
        self._enrolled: list[tuple[str, Enrolment, bool]] = []
        self._stated: dict[tuple[str, MountKind], deque[tuple[Array, float]]] = {}

    def enrolled(self, enrolment: Enrolment, person: str) -> None:
        """Take an enrolment: what was known of the mark before is replaced."""
        known = Known(
            bias_mm=enrolment.bias_mm, u_mm=enrolment.u_mm, reference_mm=enrolment.bias_mm,
            reference_u_mm=enrolment.u_mm, count=len(enrolment.pairs),
        )  # fmt: skip
        # the bias of a target tells of its kind once; enrolled again, it is the same bias
        first = self._targets.get(enrolment.mark) is None
        self._targets[enrolment.mark] = _OfMark(enrolment.kind, enrolment.side, known)
        self._enrolled.append((person, enrolment, first))

    def stated(self, settings: Mapping[str, Any], person: str) -> None:
        """Take what a closed job stated of its settings."""
        for name, one in settings.get("kinds", {}).items():
            kind = MountKind(name)
            score = np.log(np.maximum(one["weights"], 1e-12)) - np.log(np.maximum(one["carried"], 1e-12))
            seen = self._stated.setdefault((person, kind), deque(maxlen=_MEMORY))
            seen.append((score, float(one["freedom"])))
        for mark, one in settings.get("targets", {}).items():
            watch = one.get("watch")
            known = None
            if watch is not None:
                known = Known(
                    bias_mm=one["bias_mm"], u_mm=one["u_mm"], reference_mm=watch["reference_mm"],
                    reference_u_mm=watch["reference_u_mm"], count=watch["count"],
                    sums=Sums(watch["high"], watch["low"]),
                )  # fmt: skip
            if known is not None or one["alarm"]:
                self._targets[mark] = _OfMark(MountKind(one["target"]), one["side"], known)

    def in_force(self, layout: Layout, marks: Mapping[str, str], person: str) -> InForce:
        """Return what a job on ``layout`` with these targets by place, opened by ``person``, starts from."""
        weights: dict[MountKind, tuple[float, ...]] = {}
        freedom: dict[MountKind, float] = {}
        for kind, setting in _settings_of(layout).items():
            scores = [*self._stated.get((person, kind), ()), *self._of_enrolments(kind, setting, person)]
            if scores:
                score = np.sum([one for one, _ in scores], axis=0)
                prior = {kind: tuple(prior_of(kind).tolist())}
                weights[kind] = tuple(np.maximum(shifted(prior, kind, score), 1e-9).tolist())
                freedom[kind] = sum(told for _, told in scores)
        return InForce(weights=weights, freedom=freedom, targets=self._known(layout, marks), marks=dict(marks))

    def _known(self, layout: Layout, marks: Mapping[str, str]) -> dict[str, Known]:
        known: dict[str, Known] = {}
        for place, (kind, side) in targets_of(layout).items():
            of_mark = self._targets.get(marks.get(place, ""))
            if of_mark is not None and of_mark.known is not None and of_mark.kind is kind:
                one = of_mark.known if of_mark.side == side else of_mark.known.turned
                known[place] = replace(one, u_mm=math.hypot(one.u_mm, DRIFT_MM))
        return known

    def _of_enrolments(self, kind: MountKind, setting: Setting, person: str) -> list[tuple[Array, float]]:
        square = levels_of(kind) ** 2
        scores: list[tuple[Array, float]] = []
        for crew, one, first in self._enrolled:
            if one.kind is not kind:
                continue
            if first and setting.bias > 0:
                scores.append(_of_sample(square, setting.bias**2, one.u_mm**2, one.bias_mm**2, 1))
            if crew == person and setting.seating > 0:
                scores.append(_of_sample(square, setting.seating**2, one.look_sd_mm**2, one.scatter_mm**2, one.freedom))
        return scores


def _of_sample(square: Array, stated: float, noise: float, found: float, freedom: int) -> tuple[Array, float]:
    """Return the log-likelihood per squared level of a mean square ``found``, and the independent errors it shows."""
    variance = square * stated + noise
    score = -0.5 * freedom * (np.log(variance) + found / variance)
    return score, freedom * (stated / (stated + noise)) ** 2


def _settings_of(layout: Layout) -> dict[MountKind, Setting]:
    """Return the stated setting of each kind the layout has: that of its first mount of the kind."""
    mounts = [mount for unit in layout.unit for mount in unit.mount if mount.kind in KINDS]
    first = {mount.kind: mount.stated for mount in reversed(mounts)}
    return {kind: first.get(kind, DEFAULT_SETTINGS[kind]) for kind in KINDS if kind in first}


class _Entry(Protocol):
    @property
    def kind(self) -> str:
        """Return the kind of fact."""
        ...

    @property
    def body(self) -> Mapping[str, Any]:
        """Return the fact."""
        ...


def history_in(entries: Iterable[_Entry]) -> History:
    """Add up the enrolments and statements among ``entries``, oldest first."""
    history = History()
    crews: dict[str, str] = {}
    for entry in entries:
        if entry.kind == "job":
            crews[entry.body["job"]] = entry.body["person"]
        elif entry.kind == "target":
            history.enrolled(_enrolment_from(entry.body), str(entry.body["person"]))
        elif entry.kind == "statement" and "settings" in entry.body:
            history.stated(entry.body["settings"], crews.get(entry.body["job"], ""))
    return history
