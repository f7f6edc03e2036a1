"""The solver's work for a job's rounds, done once per set of accepted readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from axledger.job.board import Board, Place
from axledger.job.follow_up import as_taken_before, followed_rounds
from axledger.job.plan import sight_of, tilt_of
from axledger.job.slip_scene import Stations
from axledger.job.solution import Line, Observation, Solution, Solver

if TYPE_CHECKING:
    from axledger.job.findings import Findings
    from axledger.job.fold import JobFold
    from axledger.job.learning import Learned
    from axledger.job.next_steps import NextSteps

__all__ = ["RoundWork", "joined", "observed"]


class RoundWork:
    """Solutions by round, recomputed when the round's accepted readings or planned lines change."""

    def __init__(self, solver: Solver) -> None:
        self.solver = solver
        self._solved: dict[int, tuple[tuple[Observation, ...], Solution]] = {}
        self._seen: dict[int, tuple[Board, Solution]] = {}
        self._made: dict[int, tuple[Place, Observation]] = {}
        self.findings: dict[int, tuple[Board, Findings]] = {}
        self.learned: dict[int, tuple[Solution, Learned]] = {}
        self.steps: tuple[Board, NextSteps] | None = None
        self.stations = Stations(solver.layout)

    def solution(self, fold: JobFold, round_number: int) -> Solution:
        """Return the solution of a round."""
        seen = self._seen.get(round_number)
        # a board never changes in place, so the same board has the same readings and the same plan
        if seen is None or seen[0] is not fold.board:
            seen = self._seen[round_number] = (fold.board, self._solution(fold, round_number))
        return seen[1]

    def _solution(self, fold: JobFold, round_number: int) -> Solution:
        observations = joined(fold, round_number, self._made)
        planned: list[Line] = _planned(fold) if round_number == fold.board.round else []
        known = self._solved.get(round_number)
        if known is not None and known[0] == observations:
            lines = {*planned, *(observation.line for observation in observations)}
            if set(known[1].rows) == lines:
                return known[1]
        solution = self.solver.solve(observations, planned, careful=False)
        self._solved[round_number] = (observations, solution)
        return solution


def _planned(fold: JobFold) -> list[Line]:
    """Return the lines that may be asked for next: the walk's, and the current shot's as its targets hang now.

    The two differ where a person went to a shot out of turn: the walk counts on turns that are still to come.
    """
    lines: list[Line] = list(fold.upcoming().values())
    if (shot := fold.current()) is not None:
        now: Line = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, fold.turns_before(shot))
        if now not in lines:
            lines.append(now)
    return lines


def observed(
    fold: JobFold, round_number: int, made: dict[int, tuple[Place, Observation]] | None = None
) -> tuple[Observation, ...]:
    """Return the accepted readings of a round in order of arrival, each with its line and target states.

    ``made`` keeps what was made earlier, by reading; it holds as long as the reading stands where it stood.
    """
    known = {} if made is None else made
    kinds = {shot.id: shot for shot in fold.every_shot()}
    board = fold.board
    numbers = sorted((number, name) for name in kinds for number in board.accepted(name, round_number))
    observations: list[Observation] = []
    for number, name in numbers:
        place = board.places[number]
        if number not in known or known[number][0] is not place:
            shot = kinds[name]
            line: Line = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, place.turns)
            known[number] = (place, Observation(line, fold.readings[number].values[fold.quantity_of(shot)][0]))
        observations.append(known[number][1])
    return tuple(observations)


def joined(
    fold: JobFold, round_number: int, made: dict[int, tuple[Place, Observation]] | None = None
) -> tuple[Observation, ...]:
    """Return what a round is solved from: its own readings, then those of the rounds that it follows up."""
    own = observed(fold, round_number, made)
    if fold.layout is None:
        return own
    earlier: list[Observation] = []
    for number in followed_rounds(fold.board, round_number):
        taken = observed(fold, number, made)
        lines = as_taken_before(fold.layout, fold.board, [one.line for one in taken], number, round_number)
        earlier += [Observation(line, one.value_si) for line, one in zip(lines, taken, strict=True) if line is not None]
    return (*own, *earlier)
