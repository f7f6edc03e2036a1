"""Whether a planted slip was found and rightly named, at once and after the plan; and what it would have done.

Judged from what the program says against what the simulation knows; nothing here feeds back into the job.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from axledger.geometry.conformity import Verdict
from axledger.job.findings import Finding, Findings
from axledger.job.fold import JobFold
from axledger.job.rounds import observed
from axledger.job.solution import Result
from axledger_simulators.blunders import Blunder, Planted

__all__ = ["SlipOutcome", "falsely_conforming", "judge_slip", "rightly_named"]

_LEAST_M = 1e-5  # below a display step of any meter there is no slip to speak of
_ALIKE = 0.8
"""The share of shots that two exchanges have in common to be one: a line between the two sides is its own image."""
_OF_TARGETS = frozenset({Blunder.TARGET_MOVED, Blunder.BADLY_SET})


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipOutcome:
    """What became of one planted slip. ``size_m``: the largest error it made in a reading.

    ``held`` and ``named_at_once`` are of its first reading, ``named_with_pair`` of the reading that completes an
    exchanged pair. ``harmless``: not found, and no result differs by more than its U from what it would be without.
    ``misled``: how many results are said to conform, though they do not, after the cure of a wrong name was taken.
    """

    blunder: str
    size_m: float
    detectable: bool
    found: bool
    named: bool
    in_pair: bool
    harmless: bool
    held: bool
    named_at_once: bool
    named_with_pair: bool
    misled: int = 0


def _sizes_m(planted: Planted, fold: JobFold, errors_m: Mapping[int, float]) -> dict[str, float]:
    """Return the largest error by shot among the readings accepted for the slip's shots."""
    sizes: dict[str, float] = {}
    for shot in planted.shots:
        errors = [abs(errors_m.get(number, 0.0)) for number in fold.board.accepted(shot)]
        sizes[shot] = max(errors, default=0.0)
    return sizes


def judge_slip(
    planted: Planted, fold: JobFold, findings: Findings, errors_m: Mapping[int, float],
    at_once: Mapping[str, Sequence[Finding]],
) -> SlipOutcome:  # fmt: skip
    """Judge one slip; ``at_once`` holds by shot what was said when its first reading arrived (absent: not held)."""
    sizes = _sizes_m(planted, fold, errors_m)
    touched = [shot for shot in planted.shots if sizes[shot] > _LEAST_M]
    first = touched[0] if touched else planted.shots[0]
    right = [finding for finding in findings.findings if rightly_named(finding, planted, fold)]
    found = bool(findings.findings)
    return SlipOutcome(
        blunder=planted.blunder.value,
        size_m=max(sizes.values()),
        detectable=any(size > findings.smallest_visible.get(shot, 0.0) for shot, size in sizes.items()),
        found=found,
        named=bool(right),
        in_pair=bool(right) and all(finding.rivals for finding in right),
        harmless=not found and not _changes_a_result(fold, errors_m),
        held=first in at_once,
        named_at_once=any(rightly_named(finding, planted, fold) for finding in at_once.get(first, ())),
        named_with_pair=any(
            rightly_named(finding, planted, fold) for shot in touched[1:2] for finding in at_once.get(shot, ())
        ),
    )


def rightly_named(finding: Finding, planted: Planted, fold: JobFold) -> bool:
    """Tell whether a finding, or one of its rivals, is the planted slip: its kind, and its shot or target."""
    return any(one.slip in planted.names and _right_place(one, planted, fold) for one in (finding, *finding.rivals))


def _right_place(finding: Finding, planted: Planted, fold: JobFold) -> bool:
    if not finding.shots:
        return False
    if planted.blunder is Blunder.VEHICLE_MOVED:
        return finding.shots[0] in planted.shots
    if planted.blunder in _OF_TARGETS:
        target = planted.move.target if planted.move is not None else ""
        targets = {shot.id: shot.targets for shot in fold.every_shot()}
        return all(target in targets.get(shot, ()) for shot in finding.shots)
    if planted.blunder in (Blunder.SWAP_PAIR, Blunder.SWAP_AXLE):
        said, made = set(finding.shots), set(planted.shots)
        return len(said & made) >= _ALIKE * len(said | made)
    return finding.shots[0] == planted.shots[0]


def falsely_conforming(fold: JobFold, truth: Mapping[str, float]) -> int:
    """Return how many results are said to conform whose truth (SI) is beyond a limit."""
    solution = fold.fresh_solution(fold.board.round)
    said = [one for one in solution.results if one.verdict is Verdict.CONFORMS] if solution is not None else []
    return sum(
        (one.lower is not None and truth[one.key] < one.lower) or (one.upper is not None and truth[one.key] > one.upper)
        for one in said
    )


def _changes_a_result(fold: JobFold, errors_m: Mapping[int, float]) -> bool:
    """Solve the round as it is and with the slip taken out of its readings; tell whether some result is beyond U."""
    board = fold.board
    numbers = sorted(n for n, place in board.places.items() if place.state == "accepted" and place.round == board.round)
    as_is = observed(fold, board.round)
    mended = [
        replace(one, value_si=one.value_si - errors_m.get(number, 0.0))
        for number, one in zip(numbers, as_is, strict=True)
    ]
    before = {result.key: result for result in fold.fresh_solver().solve(as_is, []).results}
    return any(_beyond(before[result.key], result) for result in fold.fresh_solver().solve(mended, []).results)


def _beyond(with_slip: Result, without: Result) -> bool:
    if without.value is None or without.u is None:
        return False
    return with_slip.value is None or abs(with_slip.value - without.value) > 2.0 * without.u
