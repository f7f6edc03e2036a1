"""A reading that has just arrived, weighed against its prediction while the person still stands there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from axledger.job.findings import Finding, told_of
from axledger.job.plan import Shot, sight_of
from axledger.job.slip_guesses import Guess
from axledger.job.slip_scene import Scene, Taken, scene_at, taken_shots, widened
from axledger.job.slip_search import slips_of_one
from axledger.job.slip_words import asked_of

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["asked_at_once", "slips_of_held", "sure_slip"]

_SURE = 4.0
_SURE_DROP = 14.0
"""A known slip this much better holds a reading that is not far off: working figures, tuned by simulation."""
_MARGIN = 4.0
_KNOWN = frozenset({"swap", "neighbour", "other shot", "unit"})


def _guesses(fold: JobFold, shot: Shot, turns: Mapping[str, int], value: float) -> tuple[Scene, list[Guess]]:
    """Return the explanations of ``value`` (m) for a distance ``shot``, best first, and the scene they refer to.

    Weighed against everything accepted so far in the round.
    """
    solution = fold.solution()
    if solution is None or fold.work is None:
        raise LookupError("nothing can be predicted yet")
    earlier = taken_shots(fold, fold.board.round)
    new = Taken(
        shot=shot, line=sight_of(shot, turns), turns=turns, value=value, numbers=(max(fold.readings, default=0) + 1,)
    )
    before = scene_at(
        fold.work.stations, earlier, solution.model, solution.rows, solution.adjusted.x,
        covariance=solution.adjusted.covariance,
    )  # fmt: skip
    wide = widened(before, fold.work.solver, [new.line])
    # linear where the network stands without the new reading: what is far off must not pull the point it is judged at
    scene = scene_at(wide.stations, (*earlier, new), wide.model, wide.rows, wide.x + wide.linear.step)
    return slips_of_one(scene, fold.work.solver, len(earlier))


def asked_at_once(fold: JobFold, shot: Shot, turns: Mapping[str, int], value: float) -> str:
    """Return the likeliest slip as a short question, for a reading of a distance that is far from its prediction."""
    scene, guesses = _guesses(fold, shot, turns, value)
    return asked_of(scene, guesses[0]) if guesses else "right target?"


def sure_slip(fold: JobFold, shot: Shot, turns: Mapping[str, int], value: float) -> str:
    """Return a slip of known size that explains the reading far better than chance does, as a question, or nothing.

    Such a reading need not be far off: the second of an exchanged pair lies between the two.
    """
    scene, guesses = _guesses(fold, shot, turns, value)
    if not guesses or guesses[0].slip not in _KNOWN or guesses[0].score < _SURE or guesses[0].drop < _SURE_DROP:
        return ""
    return asked_of(scene, guesses[0])


def slips_of_held(fold: JobFold, number: int) -> tuple[Finding, ...]:
    """Return what may explain the held reading ``number`` (a length), likeliest first; empty where nothing fits.

    The first finding carries the others as its rivals.
    """
    place = fold.board.places[number]
    shot = next((shot for shot in fold.every_shot() if shot.id == place.shot), None)
    if shot is None or shot.kind == "tilt" or fold.solution() is None:
        return ()
    value = fold.readings[number].values[fold.quantity_of(shot)][0]
    scene, guesses = _guesses(fold, shot, place.turns, value)
    near = [guess for guess in guesses if guess.score > guesses[0].score - _MARGIN]
    told = [told_of(scene, guess) for guess in near]
    return (replace(told[0], rivals=tuple(told[1:])),) if told else ()
