"""Search the slips that explain a network's contradictions best: one after the other, each with its rivals."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from axledger.job.slip_alternatives import (
    Other,
    exchanges,
    group_swap,
    others_of,
    replaced,
    run_in_other_unit,
    swapped_axles,
    swapped_stands,
)
from axledger.job.slip_guesses import Guess, free_guesses, single_guesses
from axledger.job.slip_scene import Scene, robust, settled, widened, without
from axledger.job.solution import Solver

__all__ = ["Explained", "is_quiet", "search", "slips_of_one"]

_MOST_SLIPS = 3
_MOST_SUSPECTS = 10
_MARGIN = 6.0
"""Scores this near cannot be told apart: odds of less than 20 to 1."""
_WORTH_A_LOOK_W = 3.0
_NOTHING_W = 1.8
_SUSPECT_W = 2.5
_BENT_W = 20.0
_FAR_BEHIND = 20.0
_BLOCKED = 8.0


@dataclass(frozen=True, slots=True)
class Explained:
    """The best explanation and those that the readings cannot tell from it, shots numbered in the first scene."""

    best: Guess
    rivals: tuple[Guess, ...]


def is_quiet(scene: Scene, least_drop: float) -> bool:
    """Tell whether nothing in the scene deserves a closer look: the quick answer for nearly every reading."""
    worst = float(np.max(np.abs(scene.w), initial=0.0))
    if worst**2 > min(least_drop, _WORTH_A_LOOK_W**2):
        return False
    return worst < _NOTHING_W or not (free_guesses(scene, least=-1.0) or exchanges(scene, -1.0))


def search(scene: Scene, solver: Solver, least_drop: float) -> tuple[Explained, ...]:
    """Return up to three slips, the strongest first; each next one is sought with those before it left out."""
    found: list[Explained] = []
    numbers = list(range(len(scene.shots)))
    here = scene
    while len(found) < _MOST_SLIPS and not is_quiet(here, least_drop):
        there, guesses = _ranked_where_it_counts(here, solver)
        if not guesses or guesses[0].score <= 0.0 or guesses[0].drop < least_drop:
            break
        explained = Explained(guesses[0], _rivals(guesses[0], guesses[1:]))
        found.append(_renumbered(explained, numbers))
        gone = set(explained.best.shots)
        if len(gone) > len(here.shots) // 2:
            break
        numbers = [number for place, number in enumerate(numbers) if place not in gone]
        here = settled(without(there, gone))
    return tuple(found)


def _renumbered(explained: Explained, numbers: list[int]) -> Explained:
    def back(guess: Guess) -> Guess:
        return replace(guess, shots=tuple(numbers[number] for number in guess.shots))

    return Explained(back(explained.best), tuple(back(guess) for guess in explained.rivals))


def _ranked_where_it_counts(scene: Scene, solver: Solver) -> tuple[Scene, list[Guess]]:
    """Rank the explanations at the point where the slip does not pull; return the scene there and the ranking.

    A slip of some millimetres leaves the network linear, so one look is enough. A large one bends it: each
    explanation is then scored anew at the optimum without the shots it blames, until the best stays the best.
    """
    if float(np.max(scene.w**2, initial=0.0)) < _BENT_W**2:
        return scene, _ranked(scene, solver)
    here = robust(scene)
    guesses = _ranked(here, solver)
    for _ in range(3):
        if not guesses or len(guesses[0].shots) >= len(here.shots) // 2:
            break
        here = settled(here, guesses[0].shots)
        before, guesses = guesses, _ranked(here, solver)
        if guesses and guesses[0].shots == before[0].shots:
            break
    return here, guesses


def _rivals(best: Guess, others: Iterable[Guess]) -> tuple[Guess, ...]:
    rivals: list[Guess] = []
    for guess in others:
        known = [best, *rivals]
        if guess.score < best.score - _MARGIN or len(rivals) == 3:
            break
        if all((guess.slip, guess.shots[0]) != (other.slip, other.shots[0]) for other in known):
            rivals.append(guess)
    return tuple(rivals)


def _ranked(scene: Scene, solver: Solver) -> list[Guess]:
    wanted = [(number, other) for number in _suspects(scene) for other in others_of(scene, number)]
    wide = widened(scene, solver, [other.line for _, other in wanted])
    guesses: list[Guess] = [
        *free_guesses(wide, least=-10.0),
        *replaced(wide, wanted),
        *exchanges(wide, -10.0),
        *run_in_other_unit(wide),
    ]
    return _likely(wide, guesses + _group_swaps(wide, solver))


def _group_swaps(scene: Scene, solver: Solver) -> list[Guess]:
    """Return left and right exchanged for an axle, a unit or a stand, where several shots are suspect."""
    if int(np.count_nonzero(np.abs(scene.w) > _SUSPECT_W)) < 2:
        return []
    groups = [*swapped_axles(scene), *swapped_stands(scene)]
    wide = widened(scene, solver, [line for lines, _ in groups for line in lines.values()])
    return [group_swap(wide, lines, detail) for lines, detail in groups]


def _likely(scene: Scene, guesses: Iterable[Guess]) -> list[Guess]:
    """Return the explanations in order, best first, those left out that are far behind; a blocked line costs."""
    best = max((guess.score for guess in guesses), default=0.0)
    near = (_charged(scene, guess) for guess in guesses if guess.score > best - _FAR_BEHIND)
    return sorted(near, key=lambda guess: -guess.score)


def _charged(scene: Scene, guess: Guess) -> Guess:
    """Return the guess with what it costs that its line is not clear: something solid would have been hit before."""
    if "station" not in guess.detail:
        return guess
    shot, detail = scene.shots[guess.shots[0]].shot, guess.detail
    start, end = (shot.start, detail["station"]) if detail["end"] == "end" else (detail["station"], shot.end)
    return guess if scene.stations.clear(start, end) else replace(guess, score=guess.score - _BLOCKED)


def _suspects(scene: Scene) -> list[int]:
    order = np.argsort(-np.abs(scene.w), kind="stable")[:_MOST_SUSPECTS]
    return [
        number
        for number in map(int, order)
        if abs(float(scene.w[number])) > _NOTHING_W and scene.shots[number].is_distance
    ]


def slips_of_one(scene: Scene, solver: Solver, number: int) -> tuple[Scene, list[Guess]]:
    """Return the explanations of one reading, best first, and the scene they are scored in: for a new arrival."""
    wanted: list[tuple[int, Other]] = [(number, other) for other in others_of(scene, number)]
    wide = widened(scene, solver, [other.line for _, other in wanted])
    guesses = [
        *single_guesses(wide, number),
        *replaced(wide, wanted),
        *exchanges(wide, -30.0, touching=(number,)),
    ]
    return wide, _likely(wide, guesses)
