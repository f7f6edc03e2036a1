"""The jobs of a campaign: a row of them in one bay, each with what came of it beside the truth."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from axledger.contract.quantity import UNITS, from_si
from axledger.job.findings import Findings, findings_of
from axledger.job.fold import JobFold
from axledger.ledger import Ledger
from axledger_simulators.campaign_walk import Bay, JobDraw, Walk
from axledger_simulators.mending import Mended, mend
from axledger_simulators.slip_outcome import SlipOutcome, falsely_conforming, judge_slip

__all__ = ["JobOutcome", "SettingsSaid", "StatedResult", "run_row"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedResult:
    """A result as the job stated it, beside the truth; all in the result's display unit."""

    kind: str
    truth: float
    value: float | None
    u: float | None
    u95: float | None
    low: float | None
    high: float | None
    lower: float | None
    upper: float | None
    verdict: str
    at_limit: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsSaid:
    """What a job says of its settings: the ``factor`` each kind is taken as, kinds and targets with an ``alarm``."""

    factor: Mapping[str, float]
    kind_alarms: frozenset[str]
    target_alarms: frozenset[str]
    targets: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOutcome:
    """What came of one job. ``clean``: no slip in it; ``alarm``: one was found all the same; ``held``: readings."""

    draw: JobDraw
    results: tuple[StatedResult, ...]
    shots: int
    readings: int
    held: int
    clean: bool
    alarm: bool
    slip: SlipOutcome | None
    settings: SettingsSaid
    mended: Mended | None
    seconds: float


def run_row(draws: Sequence[JobDraw]) -> list[JobOutcome]:
    """Run jobs one after the other in a bay whose ledger is thrown away in the end; it does not wait for the disk."""
    with (
        tempfile.TemporaryDirectory(prefix="axledger-campaign-") as folder,
        Ledger.open(Path(folder), durable=False) as ledger,
    ):
        bay = Bay(ledger, draws[0])
        return [_job(bay, draw) for draw in draws]


def _job(bay: Bay, draw: JobDraw) -> JobOutcome:
    started = time.perf_counter()
    walk, at_limit = bay.opened(draw)
    walk.whole()
    fold, clean = walk.run.fold, walk.technician.planted is None
    readings, truth = len(fold.readings), walk.technician.vehicle.truth()
    findings = findings_of(fold)
    slip = _slip(walk, findings)
    mended = mend(walk.run, walk.technician.vehicle, walk.again, seed=draw.seed) if draw.mend and clean else None
    walk.run.stop()
    walk.run.close_job()
    return JobOutcome(
        draw=draw,
        results=_stated(fold, truth, at_limit),
        shots=len(fold.shots()),
        readings=readings,
        held=walk.held,
        clean=clean,
        alarm=clean and bool(findings.findings),
        slip=slip,
        settings=_settings(fold),
        mended=mended,
        seconds=time.perf_counter() - started,
    )


def _slip(walk: Walk, findings: Findings) -> SlipOutcome | None:
    """Judge the planted slip; where it got a wrong name, see what comes of believing that."""
    planted, fold = walk.technician.planted, walk.run.fold
    if planted is None:
        return None
    slip = judge_slip(planted, fold, findings, walk.technician.errors_m, walk.said)
    if not slip.found or slip.named:
        return slip
    walk.follow(findings.findings[0])
    return replace(slip, misled=falsely_conforming(fold, walk.technician.vehicle.truth()))


def _settings(fold: JobFold) -> SettingsSaid:
    _, body = fold.statements[-1]
    kinds, targets = body["settings"].get("kinds", {}), body["settings"].get("targets", {})
    return SettingsSaid(
        factor={kind: float(one["factor"]) for kind, one in kinds.items()},
        kind_alarms=frozenset(kind for kind, one in kinds.items() if one["alarm"]),
        target_alarms=frozenset(one["place"] for one in targets.values() if one["alarm"]),
        targets=frozenset(one["place"] for one in targets.values()),
    )


def _stated(fold: JobFold, truth: Mapping[str, float], at_limit: frozenset[str]) -> tuple[StatedResult, ...]:
    """Return the results of the first round in the job's statement: ``truth`` is what was true then."""
    _, body = fold.statements[-1]
    return tuple(_one(result, truth, at_limit) for result in body["results"] if result["round"] == 1)


def _one(result: Mapping[str, Any], truth: Mapping[str, float], at_limit: frozenset[str]) -> StatedResult:
    return StatedResult(
        kind=result["key"].split(".", 2)[2],
        truth=float(from_si(truth[result["key"]], UNITS[result["unit"]])),
        value=result["value"],
        u=result["u"],
        u95=result["u95"],
        low=result["low"],
        high=result["high"],
        lower=result["lower"],
        upper=result["upper"],
        verdict=result["verdict"],
        at_limit=result["key"] in at_limit,
    )
