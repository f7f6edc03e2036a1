"""The round after a move: only what the move touched, and a few shots that prove that nothing else moved.

It holds while the targets hang as they hung and the vehicle stands where it stood. The shots of the round before stay
in force for all that was left alone; a round opened as full starts afresh.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from axledger.job.board import Board
from axledger.job.earlier import NOW, Before
from axledger.job.layout import Layout, Station, stations_of
from axledger.job.lines import Sight
from axledger.job.plan import Shot, sight_of
from axledger.job.settings import MountKind
from axledger.job.solution import Line, Result
from axledger.job.tilts import SWEEP_TILTS

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["as_taken_before", "followed_rounds", "left_out_of", "only_follow_up"]

_PROOFS = 4
"""At most so many shots of a unit prove that its other axles stayed."""
_WEAKER = 1.15
_SWINGS = (MountKind.STRAIGHTEDGE,)

_Moved = Mapping[tuple[str, str], Before]


def followed_rounds(board: Board, number: int) -> tuple[int, ...]:
    """Return the earlier rounds that round ``number`` is solved together with, oldest first."""
    first = number
    while first in board.left_out:
        first -= 1
    return tuple(range(first, number))


def _moved(board: Board, first: int, number: int) -> dict[tuple[str, str], Before]:
    """Return by unit and axle in how many of the rounds from ``first`` to before ``number`` it was moved."""
    axles = {(move.unit, move.axle) for move in board.made}
    rounds = {
        (axle, steering): {
            move.round
            for move in board.made
            if (move.unit, move.axle) == axle and move.steering is steering and first <= move.round < number
        }
        for axle in axles
        for steering in (False, True)
    }
    return {axle: (len(rounds[axle, False]), len(rounds[axle, True])) for axle in axles}


def _before(station: Station, unit: str, moved: _Moved) -> Before:
    if station.axle is None:
        return NOW
    shifted, turned = moved.get((unit, station.axle.code), NOW)
    return shifted, turned if station.mount.kind in _SWINGS else 0


def _homes(layout: Layout) -> dict[str, tuple[str, Station]]:
    return {station.name: (unit.id, station) for unit in layout.unit for station in stations_of(unit)}


def as_taken_before(layout: Layout, board: Board, lines: Sequence[Line], taken: int, number: int) -> list[Line | None]:
    """Return the lines of round ``taken`` as round ``number`` sees them: axles moved since stood elsewhere.

    ``None`` for what no longer holds: a steering sweep of wheels whose steering was adjusted.
    """
    homes, moved = _homes(layout), _moved(board, taken, number)
    return [_taken_before(line, homes, moved) for line in lines]


def _taken_before(line: Line, homes: Mapping[str, tuple[str, Station]], moved: _Moved) -> Line | None:
    if isinstance(line, Sight):
        unit, start = homes[line.start]
        other, end = homes[line.end]
        return replace(line, start_before=_before(start, unit, moved), end_before=_before(end, other, moved))
    return None if _is_swept(line.name, line.at, homes, moved) else line


def _is_swept(tilt: str, at: str, homes: Mapping[str, tuple[str, Station]], moved: _Moved) -> bool:
    """Tell whether a tilt belongs to a steering sweep of an axle whose steering was adjusted."""
    if tilt not in SWEEP_TILTS or at not in homes:
        return False
    unit, station = homes[at]
    return station.axle is not None and moved.get((unit, station.axle.code), NOW)[1] > 0


def only_follow_up(shots: Sequence[Shot], left_out: frozenset[str]) -> tuple[Shot, ...]:
    """Return the shots of a follow-up round: no target is turned again, so no line has a second look."""
    return tuple(
        replace(shot, turn=(), look=1, turns=(0, 0)) for shot in shots if shot.id not in left_out
    )  # fmt: skip


def left_out_of(fold: JobFold) -> frozenset[str] | None:
    """Return the shots that the round after the present one need not repeat; ``None`` where it must be a full one.

    It must be full where nothing was moved, where a move was told without saying what was moved, or where the
    present round is not finished or contradicts itself.
    """
    board, solution = fold.board, fold.solution()
    made = [move for move in board.made if move.round == board.round]
    told = sum(number == board.round for number, _ in board.moves)
    if not made or told > len(made) or fold.open_shots() or solution is None or solution.contradicts:
        return None
    shots = fold.walk()
    lines = _single(shots)
    moved = _moved(board, board.round, board.round + 1)
    homes = _homes(fold.layout) if fold.layout is not None else {}
    touched = [shot for shot in lines if any(_before(homes[end][1], shot.unit, moved) != NOW for end in _ends(shot))]
    units = {unit for unit, _ in moved}
    rest = [shot for shot in lines if shot.unit in units and shot not in touched]
    wanted = _sufficient(fold, [*touched, *_proofs(fold, touched, rest, homes)], lines, solution.results)
    swept = [shot for shot in shots if shot.kind == "tilt" and _is_swept(shot.tilt, shot.start, homes, moved)]
    names = {shot.id for shot in (*wanted, *swept)}
    return frozenset(shot.id for shot in shots if shot.id not in names)


def _single(shots: Sequence[Shot]) -> list[Shot]:
    """Return the first look along each line; inclinations need none, the vehicle stands where it stood."""
    lines: dict[frozenset[str], Shot] = {}
    for shot in shots:
        if shot.kind == "distance":
            lines.setdefault(frozenset(_ends(shot)), shot)
    return list(lines.values())


def _ends(shot: Shot) -> tuple[str, str]:
    return shot.start, shot.end


def _forecast(fold: JobFold, shots: Sequence[Shot]) -> tuple[dict[str, Result], list[float]]:
    """Return what the readings so far and one look along ``shots`` would determine, and the shots' redundancies."""
    if fold.layout is None:
        return {}, []
    number = fold.board.round
    rounds = (*followed_rounds(fold.board, number), number)
    lines = [
        line
        for taken in rounds
        for line in as_taken_before(fold.layout, fold.board, fold.lines_taken(taken), taken, number + 1)
        if line is not None
    ]
    new: list[Line] = [sight_of(shot, fold.board.turns) for shot in shots]
    repeats = fold.header.repeats if fold.header is not None else 1
    results, redundancy = fold.fresh_solver().forecast([*lines, *(line for line in new for _ in range(repeats))])
    own = redundancy[len(lines) :: repeats]
    return {result.key: result for result in results}, [float(one) for one in own]


def _proofs(
    fold: JobFold, touched: Sequence[Shot], rest: Sequence[Shot], homes: Mapping[str, tuple[str, Station]]
) -> list[Shot]:
    """Choose shots by which another axle could not have moved unseen: each end of each, best known lines first."""
    _, redundancy = _forecast(fold, [*touched, *rest])
    worth = dict(zip((shot.id for shot in rest), redundancy[len(touched) :], strict=True))
    chosen: list[Shot] = []
    for unit in dict.fromkeys(shot.unit for shot in rest):
        shown: set[tuple[str, int]] = set()
        picked = 0
        mine = sorted((shot for shot in rest if shot.unit == unit), key=lambda shot: -worth[shot.id])
        for shot in mine:
            ends = {
                (station.axle.code, station.side)
                for _, station in (homes[end] for end in _ends(shot))
                if station.axle is not None
            }
            if picked < _PROOFS and ends - shown:
                shown |= ends
                picked += 1
                chosen.append(shot)
    return chosen


def _sufficient(fold: JobFold, wanted: list[Shot], lines: list[Shot], now: Sequence[Result]) -> list[Shot]:
    """Return ``wanted``, or every line where those would keep a result from being much less certain than it was."""
    (these, _), (everything, _) = _forecast(fold, wanted), _forecast(fold, lines)
    weaker = [
        one.key
        for one in now
        if one.u is not None
        and these[one.key].forecast_u > _WEAKER * max(one.forecast_u, everything[one.key].forecast_u)
    ]
    return lines if weaker else wanted
