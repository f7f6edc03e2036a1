"""What a job says of its settings: how bad they are taken, what is unproved, what has changed, what would prove it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from axledger.job.in_force import targets_of
from axledger.job.layout import stations_of
from axledger.job.learning import Learned, TargetLearned, learned_from
from axledger.job.lines import Sight
from axledger.job.scales import KIND_WORDS
from axledger.job.settings import MountKind
from axledger.job.solution import Result, Solution

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["learned_of", "proof_words", "settings_words"]

_NOTEWORTHY = 1.25
"""A factor below this is not worth a line: the crew's settings are about as stated."""
_FEWEST_SEEN = 1.0


def learned_of(fold: JobFold, round_number: int | None = None) -> Learned | None:
    """Return what a round teaches of its settings (default: the present one), worked out once per board."""
    number = fold.board.round if round_number is None else round_number
    solution = fold.solution(number)
    if fold.work is None or fold.layout is None or solution is None:
        return None
    known = fold.work.learned.get(number)
    if known is None or known[0] is not solution:
        sides = {place: side for place, (_, side) in targets_of(fold.layout).items()}
        known = fold.work.learned[number] = (solution, learned_from(solution, fold.in_force, sides))
    return known[1]


def settings_words(fold: JobFold) -> tuple[str, ...]:
    """Return what the present round's results rest on, where that is not simply as stated; one sentence a line."""
    solution, learned = fold.solution(), learned_of(fold)
    if solution is None or learned is None or not solution.observations:
        return ()
    lines = [*_unproved(learned, _seen_turned(fold, solution)), *_factors(learned)]
    if not solution.gate.fits:
        lines.append("the job does not fit what is known of its targets from earlier: solved without their history")
    lines += [_changed(target, fold) for target in learned.targets.values() if target.alarm]
    return tuple(lines)


def _seen_turned(fold: JobFold, solution: Solution) -> set[str]:
    """Return the targets, by place, that the readings saw as they hung first and turned half a turn."""
    stations = {s.name: s.target for unit in (fold.layout.unit if fold.layout else ()) for s in stations_of(unit)}
    states: dict[str, set[int]] = {}
    for line in (observation.line for observation in solution.observations):
        if isinstance(line, Sight):
            states.setdefault(stations[line.start], set()).add(line.start_turns % 2)
            states.setdefault(stations[line.end], set()).add(line.end_turns % 2)
    return {target for target, seen in states.items() if len(seen) == 2}


def _unproved(learned: Learned, turned: Collection[str]) -> Iterator[str]:
    """Name the kinds of which a target was neither seen turned in the job nor known before it."""
    kinds = dict.fromkeys(
        target.kind
        for place, target in learned.targets.items()
        if place not in turned and target.half_mm is None and not target.was_known
    )
    if kinds:
        named = " and ".join(KIND_WORDS[kind] for kind in kinds)
        yield f"rests on an unproved setting: {named} neither turned in this job nor enrolled"


def _factors(learned: Learned) -> Iterator[str]:
    for kind, one in learned.kinds.items():
        if one.factor < _NOTEWORTHY:
            continue
        because = "" if one.seen >= _FEWEST_SEEN else ", as nothing proves them"
        yield f"settings of {KIND_WORDS[kind]} taken as {one.factor:.1f} times stated{because}"
        if one.alarm:
            yield (
                f"{KIND_WORDS[kind]} set worse than stated: as good as stated they would look so in 1 job of 100; "
                "look at how they are seated"
            )


def _changed(target: TargetLearned, fold: JobFold) -> str:
    known = next(
        (one for place, one in fold.in_force.targets.items() if fold.in_force.marks.get(place) == target.mark), None
    )
    now = f"{target.half_mm:+.2f} mm" if target.half_mm is not None else "not seen"
    before = f", {known.reference_mm:+.2f} mm before" if known is not None else ""
    return f"{target.mark} does not fit its own history: bias {now}{before}; look for a bend and enrol it again"


_PROOFS = {
    MountKind.HUB: {
        "bias": "turn them half a turn and shoot their lines again",
        "seating": "seat them a second time and shoot their lines again",
        "rest": "roll the vehicle half a wheel turn, targets left on, and shoot a round again",
    },
    MountKind.STRAIGHTEDGE: {
        "bias": "turn them end for end and shoot their lines again",
        "end": "turn them end for end and shoot their lines again",
        "seating": "turn them end for end, seated afresh, and shoot their lines again",
        "rest": "roll the vehicle half a wheel turn, straightedges left on, and shoot a round again",
    },
    MountKind.INBOARD: {"": "hang them again, turned, and shoot their lines again"},
    MountKind.RAIL: {"": "add another pair of rail targets, behind the last axle where it can be seen"},
    MountKind.PIN: {"": "set the stem on the pin again and shoot its lines again"},
}
_PARTS = {"bias": "bias", "seating": "seating", "rest": "hub and drop", "across": "place sideways", "end": "ends"}


def proof_words(result: Result) -> str:
    """Name the setting with the largest share in a result's variance and its cheapest proof; empty where none has."""
    name, _, part = result.weakest.partition(".")
    if not name:
        return ""
    kind = MountKind(name)
    proofs = _PROOFS.get(kind, {})
    proof = proofs.get(part) or proofs.get("") or proofs.get("seating", "")
    owner = KIND_WORDS.get(kind, "coupling pin")
    share = (
        f"{result.shares.get(name, 0.0):.0%} of the variance comes from {owner}, most of it {_PARTS.get(part, part)}"
    )
    return f"{share}: {proof}" if proof else share
