"""The solver's work for a job's rounds, done once per set of accepted readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from axledger.job.plan import sight_of, tilt_of
from axledger.job.solution import Line, Observation, Solution, Solver

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["RoundWork", "observed"]


class RoundWork:
    """Solutions by round, recomputed when the round's accepted readings change."""

    def __init__(self, solver: Solver) -> None:
        self.solver = solver
        self._solved: dict[int, tuple[tuple[Observation, ...], Solution]] = {}

    def solution(self, fold: JobFold, round_number: int) -> Solution:
        """Return the solution of a round."""
        observations = observed(fold, round_number)
        planned: list[Line] = list(fold.upcoming().values()) if round_number == fold.board.round else []
        known = self._solved.get(round_number)
        if known is not None and known[0] == observations and all(line in known[1].rows for line in planned):
            return known[1]
        solution = self.solver.solve(observations, planned)
        self._solved[round_number] = (observations, solution)
        return solution


def observed(fold: JobFold, round_number: int) -> tuple[Observation, ...]:
    """Return the accepted readings of a round in order of arrival, each with its line and target states."""
    kinds = {shot.id: shot for shot in fold.every_shot()}
    observations: list[Observation] = []
    for number, place in sorted(fold.board.places.items()):
        if place.state != "accepted" or place.round != round_number or place.shot not in kinds:
            continue
        shot = kinds[place.shot]
        line: Line = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, place.turns)
        observations.append(Observation(line, fold.readings[number].values[fold.quantity_of(shot)][0]))
    return tuple(observations)
