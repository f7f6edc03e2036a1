"""More than the walk: one more reading of a shot, another look at its line, a target turned once more.

What the walk leaves undecided may be decided by a few readings beyond it. They are asked for by the act ``more``
and are then shots like any others: shown, prompted for, skipped or taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from axledger.contract.errors import BadInput, Refused, UnknownName
from axledger.job.board import Board
from axledger.job.layout import Procedure, stations_of
from axledger.job.plan import Chosen, Shot, plan_shots
from axledger.job.proof import all_spares
from axledger.job.settings import MountKind

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["TURNABLE", "ask_for_more", "offered_shots", "turnable_targets"]

TURNABLE = (MountKind.HUB, MountKind.INBOARD, MountKind.STRAIGHTEDGE)
"""Kinds of target that can be turned half a turn, hung turned, or laid end for end."""


def offered_shots(fold: JobFold) -> dict[str, Shot]:
    """Return every shot the job could take, by name: its plan, then the layout's other walks and spares."""
    offered = {shot.id: shot for shot in fold.every_shot()} | {shot.id: shot for shot in fold.shots()}
    if fold.layout is not None:
        for procedure in (name for name in get_args(Procedure) if name != fold.chosen.procedure):
            chosen = Chosen(procedure=procedure, turns=False, parts=fold.chosen.parts)
            for shot in plan_shots(fold.layout, added=all_spares(fold.layout), chosen=chosen):
                offered.setdefault(shot.id, shot)
    return offered


def turnable_targets(fold: JobFold) -> dict[str, MountKind]:
    """Return the targets of the vehicle that can be turned, each with its kind."""
    units = fold.layout.unit if fold.layout is not None else ()
    return {
        station.target: station.mount.kind
        for unit in units
        for station in stations_of(unit)
        if station.mount.kind in TURNABLE
    }


def ask_for_more(fold: JobFold, body: Mapping[str, Any]) -> tuple[Board, str]:
    """Return the board that waits for what was asked, and words for it.

    ``shots`` names the lines, ``turn`` (may be absent) targets that are turned half a turn before the first of
    them, ``readings`` how many more each, default 1. A line whose targets hang as they did gets further readings
    of its shot; else it is another shot, because readings of two states must not be compared as repeats.
    """
    names, turn, count = _asked(fold, body)
    board, told = fold.board, list[str]()
    for place, name in enumerate(names):
        shot = offered_shots(fold)[name]
        if not turn and _hangs_as_shot(fold, shot):
            key = (board.round, shot.id)
            board = replace(board.reopened(shot.id), more={**board.more, key: board.more.get(key, 0) + count})
            told.append(shot.id)
            continue
        extra = replace(shot, id=_free_name(fold, board, shot), turn=turn if place == 0 else (), spare=False, says="")
        more = {**board.more, (board.round, extra.id): count - _repeats(fold)}
        board = replace(board, extra=(*board.extra, (board.round, extra)), more=more)
        told.append(extra.id)
    turned = f", {', '.join(turn)} turned half a turn first" if turn else ""
    return replace(board, focus=told[0]), f"{count} more of {', '.join(told)}{turned}"


def _repeats(fold: JobFold) -> int:
    return fold.header.repeats if fold.header is not None else 1


def _asked(fold: JobFold, body: Mapping[str, Any]) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    names, turn = (tuple(str(name) for name in body.get(key, ())) for key in ("shots", "turn"))
    count = int(body.get("readings", 1))
    offered, targets = offered_shots(fold), turnable_targets(fold)
    if not names or count < 1:
        raise BadInput(
            "more of what?", found=f"{count} readings of {', '.join(names) or 'no shot'}",
            allowed="at least one reading of at least one shot", do="name the shots", kept="nothing was changed",
        )  # fmt: skip
    _must_be_known("shot", names, offered)
    _must_be_known("target that can be turned", turn, targets)
    if fold.layout is not None and (blocked := [name for name in names if name in fold.board.blocked]):
        raise Refused(
            f"{', '.join(blocked)} is blocked", found="no clear beam", allowed="a shot whose beam is clear",
            do="clear the way and undo the blocking, or shoot another line", kept="nothing was changed",
        )  # fmt: skip
    first = offered[names[0]]
    if strange := [target for target in turn if target not in first.targets]:
        raise BadInput(
            f"{', '.join(strange)} is not shot at by {first.id}", found=f"{', '.join(first.targets)}",
            allowed="a target at one end of the first shot", do="name a shot that sees the turned target first",
            kept="nothing was changed",
        )  # fmt: skip
    return names, turn, count


def _must_be_known(what: str, names: Sequence[str], known: Mapping[str, object]) -> None:
    for name in names:
        if name not in known:
            raise UnknownName(what, name, sorted(known))


def _hangs_as_shot(fold: JobFold, shot: Shot) -> bool:
    """Tell whether the shot is in the plan and its targets hang as they did at its readings of this round."""
    if all(shot.id != planned.id for planned in fold.shots()):
        return False
    places = [fold.board.places[number] for number in fold.board.accepted(shot.id)]
    turns = fold.turns_before(shot)
    return all(
        place.turns.get(target, 0) == turns.get(target, 0) for place in places for target in shot.targets if target
    )


def _free_name(fold: JobFold, board: Board, shot: Shot) -> str:
    """Return the first name of this line that no shot of the job has yet."""
    plain = shot.id.split("#")[0]
    taken = set(offered_shots(fold)) | {extra.id for _, extra in board.extra}
    known = {planned.id for planned in fold.shots()} | {extra.id for _, extra in board.extra}
    if shot.id not in known and not fold.board.accepted(shot.id):
        return shot.id
    number = 2
    while f"{plain}#{number}" in taken:
        number += 1
    return f"{plain}#{number}"
