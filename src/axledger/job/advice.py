"""What to measure next: the shot, repeat or turned target that buys most per second for what is not decided yet.

Uncertainty comes from the network alone, so every candidate is weighed before anyone walks (``what_if``). Nothing
here decides anything: it says what would, and says so too where nothing at hand would.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from axledger.geometry.adjustment import Array
from axledger.geometry.conformity import Rule
from axledger.job.offers import Kind, Offer, Yard, open_offers, yard_of
from axledger.job.outlook import Outlook, outlook_of
from axledger.job.prospect import Aim, Prospect, aimed_units, chance_of_decision, odds, prospect_of, shown
from axledger.job.ranking import best_first, looks, turns_of, waiting_shots

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["Advice", "next_measurement", "outlooks"]

_MOST_ADVICE = 12
_MOST_TIMES = 12
"""More readings of one line than this nobody takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to measure.

    ``shot`` is its first shot, ``helps`` maps a result's key to its standard uncertainty now and after it (SI).
    ``needed``: how many times it takes until it alone decides (or determines) a result as its value stands, and the
    ``chance`` that it does, as the new readings move the value too; ``None`` where no number would do. ``act`` and
    ``arguments`` ask the job for it.
    """

    kind: Kind
    shot: str
    words: str
    helps: Mapping[str, tuple[float, float]]
    needed: int | None
    chance: float | None
    seconds: float
    act: str
    arguments: Mapping[str, Any]


def next_measurement(fold: JobFold) -> tuple[Advice, ...]:
    """Return what to measure next, best first by what a second of it brings.

    Aims at undecided results, and only where there are none at those not determined. Empty where nothing is left to
    decide, and while readings contradict each other: first the slip, then the precision.
    """
    view = _view_of(fold)
    if view is None:
        return ()
    prospect = view.prospect.only(view.reachable) if any(view.reachable) else view.prospect
    yard, now = view.yard, view.yard.turns
    rated = [*waiting_shots(prospect, view.waiting), *looks(prospect, yard, now), *turns_of(prospect, yard, now)]
    return tuple(_advice(prospect, yard, offer) for offer in best_first(rated)[:_MOST_ADVICE])


def outlooks(fold: JobFold) -> tuple[Outlook, ...]:
    """Return for each result that ``next_measurement`` aims at what it takes to decide it, after the plan."""
    view = _view_of(fold)
    if view is None:
        return ()
    return tuple(
        outlook_of(view.finished.only([other is aim for other in view.finished.aims]), view.later, reachable=likely)
        for aim, likely in zip(view.finished.aims, view.reachable, strict=True)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """A job as advice sees it: now, with the shots of the plan still ``waiting``, and once they are taken.

    ``reachable`` tells which aims everything together would settle.
    """

    prospect: Prospect
    yard: Yard
    waiting: list[Offer]
    finished: Prospect
    later: Yard
    reachable: list[bool]


def _view_of(fold: JobFold) -> _View | None:
    solution = fold.solution()
    if solution is None or solution.contradicts or not (units := aimed_units(solution.results)):
        return None
    yard = yard_of(fold, {observation.line for observation in solution.observations}, units)
    waiting = [offer for offer in open_offers(fold, yard.standing) if offer.shots[0].unit in units]
    # the plan goes first: what comes after it meets the targets as the plan leaves them
    later = replace(yard, turns=_end_of_plan(fold), pending=frozenset()) if waiting else yard
    lines = dict.fromkeys([*yard.lines(), *later.lines(), *(line for offer in waiting for line in offer.lines)])
    rule = fold.limits.decision_rule if fold.limits is not None else Rule.GUARD_95
    prospect = prospect_of(fold.fresh_solver(), solution, list(lines), rule)
    finished = _after(prospect, waiting)
    floor = finished.left_together(list(dict.fromkeys(later.lines())), _MOST_TIMES).tolist()
    return _View(
        prospect=prospect, yard=yard, waiting=waiting, finished=finished, later=later,
        reachable=[u <= aim.wanted for aim, u in zip(prospect.aims, floor, strict=True)],
    )  # fmt: skip


def _end_of_plan(fold: JobFold) -> dict[str, int]:
    turns = dict(fold.board.turns)
    for shot in fold.open_shots():
        for target in () if (fold.board.round, shot.id) in fold.board.turned else shot.turn:
            turns[target] = turns.get(target, 0) + 1
    return turns


def _after(prospect: Prospect, offers: Sequence[Offer]) -> Prospect:
    lines = [(line, offer.readings) for offer in offers for line in offer.lines]
    return prospect.after([line for line, _ in lines], [readings for _, readings in lines]) if lines else prospect


def _advice(prospect: Prospect, yard: Yard, offer: Offer) -> Advice:
    now, left = prospect.u, prospect.left_together(offer.lines, offer.readings)
    needed, chance, decided = _times(prospect, yard, offer)
    number = int(np.argmax(now / left)) if decided is None else decided
    aim = prospect.aims[number]
    gain = f"{aim.name} from {shown(aim, float(now[number]), unit=False)} to {shown(aim, float(left[number]))}"
    return Advice(
        kind=offer.kind, shot=offer.shots[0].id, words=f"{offer.words}: {gain}{_promise(aim, needed, chance)}",
        helps={
            other.key: (float(before), float(after_it))
            for other, before, after_it in zip(prospect.aims, now, left, strict=True)
        },
        needed=needed, chance=chance, seconds=offer.seconds, act=offer.act, arguments=offer.arguments,
    )  # fmt: skip


def _times(prospect: Prospect, yard: Yard, offer: Offer) -> tuple[int | None, float | None, int | None]:
    """Return how many times the offer takes to decide a result, the chance of that, and the result's number."""
    for times in range(1, {"open": 1, "turn": 2}.get(offer.kind, _MOST_TIMES) + 1):
        left = _left_after(prospect, yard, offer, times)
        if left is None:
            break
        decided = [
            (chance_of_decision(aim, u), -number)
            for number, (aim, u) in enumerate(zip(prospect.aims, left.tolist(), strict=True))
            if u <= aim.wanted
        ]
        if decided:
            chance, number = max(decided)
            return times, chance, -number
    return None, None, None


def _left_after(prospect: Prospect, yard: Yard, offer: Offer, times: int) -> Array | None:
    """Return the uncertainties after the offer was taken ``times`` times; ``None`` beyond what is looked into."""
    if offer.kind != "turn":
        return np.asarray(prospect.left_alone(offer.lines, [times * offer.readings])[0])
    lines = list(offer.lines)
    for more in range(2, times + 1):
        turns = {**yard.turns, offer.turn: yard.turns.get(offer.turn, 0) + more}
        lines += [line for shot, line in yard.seeing(offer.turn, turns) if shot in offer.shots]
    return prospect.left_together(lines, offer.readings) if len(lines) == times * len(offer.lines) else None


def _promise(aim: Aim, needed: int | None, chance: float | None) -> str:
    if needed is None or chance is None:
        return ""
    verb = "determines" if aim.value is None else "decides"
    times = "it" if needed == 1 else f"it with {needed} such looks"
    return f", {verb} {times}{odds(chance)}"
