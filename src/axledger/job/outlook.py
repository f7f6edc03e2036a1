"""What it takes to decide one result with all means together, and what to say where nothing at hand does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from axledger.job.offers import Offer, Yard
from axledger.job.prospect import Aim, Prospect, chance_of_decision, odds, settled, shown
from axledger.job.ranking import best_first, looks, turns_of

__all__ = ["Outlook", "outlook_of"]

_MOST_STEPS = 10
_NO_NOISE = 1_000_000
_WORTH = 0.02
"""Once a value is decided as it stands, a step that makes this little more of the chance is not worth its time."""
_TARGETS = 3
"""So many targets are looked into at each step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What it takes to decide (or determine) one result, all means together.

    ``wanted`` is the standard uncertainty that decides it as its value stands, ``steps`` what to do after the rest
    of the plan, in words and in order, ``seconds`` how long that takes, ``u`` what is reached (SI) and ``chance`` that
    this decides it. ``reached`` is false where even all steps leave it open; ``words`` then say why, and what would
    help.
    """

    key: str
    reached: bool
    wanted: float
    u: float
    chance: float
    steps: tuple[str, ...]
    seconds: float
    words: str


def outlook_of(prospect: Prospect, yard: Yard, *, reachable: bool) -> Outlook:
    """Return what it takes to decide the prospect's one aim; ``reachable``: whether everything together would."""
    (aim,) = prospect.aims
    taken = _route(prospect, yard) if reachable else []
    u = taken[-1][1] if taken else float(prospect.u[0])
    steps, seconds = tuple(offer.words for offer, _ in taken), sum(offer.seconds for offer, _ in taken)
    perfect, reached = _with_perfect_meter(prospect, yard), u <= aim.wanted
    why = _way_words(aim, steps, seconds, perfect, u) if reached else _why_not(aim, perfect, reachable)
    return Outlook(
        key=aim.key, reached=reached, wanted=aim.wanted, u=u, chance=chance_of_decision(aim, u), steps=steps,
        seconds=seconds, words=f"{aim.name}: {why}",
    )  # fmt: skip


def _route(prospect: Prospect, yard: Yard) -> list[tuple[Offer, float]]:
    """Return the steps to what the one aim wants, each the best at its place, with the uncertainty after it.

    It ends where a decision is likely, or where nothing brings much more.
    """
    taken: list[tuple[Offer, float]] = []
    turns = dict(yard.turns)
    (aim,) = prospect.aims
    while len(taken) < _MOST_STEPS and not settled(aim, float(prospect.u[0])):
        rated = [*looks(prospect, yard, turns), *turns_of(prospect, yard, turns, _TARGETS)]
        best = next(iter(best_first(rated)), None)
        if best is None:
            break
        now, prospect = float(prospect.u[0]), prospect.after(best.lines, [best.readings] * len(best.lines))
        if now <= aim.wanted and chance_of_decision(aim, float(prospect.u[0])) - chance_of_decision(aim, now) < _WORTH:
            break
        if best.turn:
            turns[best.turn] = turns.get(best.turn, 0) + 1
        taken.append((best, float(prospect.u[0])))
    return taken


def _with_perfect_meter(prospect: Prospect, yard: Yard) -> float:
    """Return the aim's uncertainty if every line that was shot had been read without any noise."""
    lines = list(yard.seen)
    return float(prospect.left_together(lines, _NO_NOISE)[0]) if lines else float(prospect.u[0])


def _way_words(aim: Aim, steps: Sequence[str], seconds: float, perfect: float, u: float) -> str:
    verb = "determined" if aim.value is None else "decided"
    if not steps:
        return f"{verb} by the rest of the plan{odds(chance_of_decision(aim, u))}"
    minutes = f"about {max(1, round(seconds / 60))} min"
    only = "; no number of repeats would do, it is the setting that counts" if perfect > aim.wanted else ""
    often = odds(chance_of_decision(aim, u))
    return f"{verb} by {len(steps)} more{often} ({minutes}): {'; '.join(steps)}{only}"


def _why_not(aim: Aim, perfect: float, reachable: bool) -> str:
    if reachable:
        return f"more than {_MOST_STEPS} further looks would be needed"
    if aim.value is None:
        return "no line of this layout determines it"
    near = "the value is too near the limit to be decided with these means"
    left = f"{shown(aim, perfect)} with a perfect one"
    if perfect > aim.wanted:
        return f"{near}; no meter would decide it ({left}), only a better setting"
    return f"{near}; a steadier meter would help ({left})"
