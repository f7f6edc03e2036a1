"""What a closed job states: results, verdicts, the rule and the versions behind them.

A statement stays what it was. A newer version that would say otherwise is shown beside it, never instead.
"""

from __future__ import annotations

import platform
from collections.abc import Mapping
from typing import Any

import numpy as np

from axledger import __version__
from axledger.contract.errors import Refused
from axledger.contract.quantity import UNITS, from_si
from axledger.contract.transport import Stamp
from axledger.job import facts
from axledger.job.digest import digests
from axledger.job.findings import findings_of
from axledger.job.fold import JobFold
from axledger.job.in_force import targets_of
from axledger.job.instruments_seen import instruments_seen, seen_body
from axledger.job.learning import learned_from
from axledger.job.next_steps_body import finding_body
from axledger.job.preparation import PREPARATION
from axledger.job.solution import Result
from axledger.job.target_history import learned_body
from axledger.ledger import TreeHead

__all__ = [
    "contradictory_rounds",
    "forecast_body",
    "result_body",
    "results_of",
    "settings_body",
    "statement_body",
    "versions",
]


def versions() -> dict[str, str]:
    """Return what a result depends on besides the entries."""
    return {
        "axledger": __version__,
        "numpy": np.__version__,
        "python": platform.python_version(),
        "machine": platform.machine(),
    }


def result_body(result: Result, round_number: int) -> facts.Body:
    """Return a result as JSON data in its display unit; see the design of a result in DEVELOPERS.md."""
    unit = UNITS[result.unit]

    def shown(value_si: float | None) -> float | None:
        return None if value_si is None else from_si(value_si, unit)

    return {
        "key": result.key,
        "name": result.name,
        "against": result.against,
        "unit": result.unit,
        "value": shown(result.value),
        "u": shown(result.u),
        "u95": shown(result.u95),
        "low": shown(result.low),
        "high": shown(result.high),
        "lower": shown(result.lower),
        "upper": shown(result.upper),
        "verdict": result.verdict.value,
        "probability": result.probability,
        "shares": dict(result.shares),
        "round": round_number,
    }


def forecast_body(result: Result) -> facts.Body:
    """Return what a plan is expected to give: uncertainty and the share of the tolerance that can be decided."""
    unit = UNITS[result.unit]
    return {
        "key": result.key,
        "name": result.name,
        "against": result.against,
        "unit": result.unit,
        "u95": from_si(result.forecast_u95, unit),
        "determined": result.u is not None,
        "lower": None if result.lower is None else from_si(result.lower, unit),
        "upper": None if result.upper is None else from_si(result.upper, unit),
        "zone_left": result.zone_left,
    }


def results_of(fold: JobFold) -> list[facts.Body]:
    """Return the results of every round, oldest first.

    Solved afresh from the layout's priors, so that they depend on the accepted readings alone and not on the
    road the live solver took: the same build gives the same bits.
    """
    bodies: list[facts.Body] = []
    for number in range(1, fold.board.round + 1):
        solution = fold.fresh_solution(number)
        bodies += [result_body(result, number) for result in (solution.results if solution is not None else ())]
    return bodies


def statement_body(fold: JobFold, head: TreeHead, *, person: str, stamp: Stamp) -> facts.Body:
    """Return the statement of a job as it stands; raise ``Refused`` where it is closed already."""
    if fold.closed:
        raise Refused("the job is closed", found="a statement", allowed="one statement per job", do="open a new job")
    rule = fold.limits.decision_rule.value if fold.limits is not None else ""
    more: Mapping[str, Any] = {
        "counts": fold.counts(),
        "digests": digests(fold),
        "contradictory_rounds": contradictory_rounds(fold),
        "findings": {
            str(number): [finding_body(finding) for finding in findings_of(fold, number).findings]
            for number in range(1, fold.board.round + 1)
        },
        "instruments_seen": [seen_body(seen) for seen in instruments_seen(fold)],
        "settings": settings_body(fold),
        "open": [shot.id for shot in fold.open_shots()],
        "unticked": [item for item, note in _ticks(fold).items() if note is None],
    }
    return facts.statement(
        fold.job,
        round_number=fold.board.round,
        results=results_of(fold),
        rule=rule,
        versions=versions(),
        head={"size": head.size, "root": head.root},
        person=person,
        stamp=stamp,
        facts=dict(more),
    )


def settings_body(fold: JobFold) -> facts.Body:
    """Return what the job teaches about its settings, from the round that rests on the most readings.

    Empty where there is none without contradiction: what is wrong there is no setting.
    """
    solutions = [fold.fresh_solution(number) for number in range(1, fold.board.round + 1)]
    sound = [one for one in solutions if one is not None and one.observations and not one.contradicts]
    if fold.layout is None or not sound:
        return {}
    best = max(reversed(sound), key=lambda one: len(one.observations))
    sides = {place: side for place, (_, side) in targets_of(fold.layout).items()}
    gate = {"statistic": best.gate.statistic, "freedom": best.gate.freedom, "fits": best.gate.fits}
    return {**learned_body(learned_from(best, fold.in_force, sides)), "gate": gate}


def contradictory_rounds(fold: JobFold) -> list[int]:
    """Return the rounds, oldest first, whose accepted readings contradict each other."""
    solved = {number: fold.solution(number) for number in range(1, fold.board.round + 1)}
    return [number for number, solution in solved.items() if solution is not None and solution.contradicts]


def _ticks(fold: JobFold) -> dict[str, str | None]:
    return {item.id: fold.board.ticks.get(item.id) for item in PREPARATION}
