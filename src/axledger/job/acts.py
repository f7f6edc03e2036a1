"""What a person can do in a job. Each act is an entry; this is what it does to the board.

An act that cannot be done is refused before it becomes an entry: the live run performs it on the fold's board
first and only then writes it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from axledger.contract.errors import Refused, UnknownName
from axledger.job.board import Board, Place
from axledger.job.placing import hold_odd_one
from axledger.job.plan import Shot, mirrored
from axledger.job.preparation import PREPARATION
from axledger.job.proof import alternatives, prove
from axledger.job.solution import Solver

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["ACTS", "perform"]

Outcome = tuple[Board, str]


def perform(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    """Return the board after an act and words for what was done.

    Raises ``Refused`` or ``UnknownName`` where the act is not possible; replay never meets one, because a
    refused act was never written.
    """
    name = str(body["act"])
    if name not in ACTS:
        raise UnknownName("act", name, sorted(ACTS))
    if fold.closed:
        raise Refused(
            "the job is closed", found=f"act {name}", allowed="nothing more; its statement stands",
            do="open a new job for this vehicle",
        )  # fmt: skip
    return ACTS[name](fold, body)


def _shot(fold: JobFold, body: Mapping[str, Any]) -> Shot:
    if body.get("shot"):
        return fold.shot_named(str(body["shot"]))
    if (shot := fold.current()) is None:
        raise Refused(
            "no shot is open", found="a finished plan", allowed="retake, round, close", do="name a shot to retake"
        )
    return shot


def _reading(fold: JobFold, body: Mapping[str, Any]) -> int:
    number = body.get("reading")
    if number is None:
        held = [number for number, place in fold.board.places.items() if place.state == "held"]
        if not held:
            raise Refused("no reading is held", found="none", allowed="a held reading", do="name a reading")
        return max(held)
    if number not in fold.readings:
        known = f"1 to {len(fold.readings)}" if fold.readings else "none yet"
        raise Refused(f"there is no reading {number}", found=str(number), allowed=known, do="name a reading")
    return int(number)


def _tick(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    wanted = [str(item) for item in body["items"]]
    known = [item.id for item in PREPARATION]
    for item in wanted:
        if item not in known:
            raise UnknownName("preparation item", item, known)
    ticks = {**fold.board.ticks, **dict.fromkeys(wanted, str(body.get("note", "done")))}
    return replace(fold.board, ticks=ticks), f"ticked: {', '.join(wanted)}"


def _skip(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    shot = _shot(fold, body)
    return fold.board.with_closed(shot.id, "skipped"), f"{shot.id} skipped"


def _blocked(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    """Take a shot out of the plan, prove what is left, and add what makes up for it."""
    shot, board = _shot(fold, body), fold.board
    blocked = board.blocked | {shot.id}
    after = replace(board, blocked=blocked, focus=None)
    words = f"{shot.id} blocked"
    if fold.layout is None or fold.header is None or shot.kind == "tilt":
        return after, words
    solver = fold.fresh_solver()
    before_shots, rest = fold.shots(), tuple(other for other in fold.shots() if other.id != shot.id)
    wanted = _weakened(solver, fold, before_shots, rest)
    if not wanted:
        return after, f"{words}; the rest of the plan still determines everything"
    added = alternatives(solver, fold.layout, rest, fold.header.repeats, wanted=wanted, blocked=blocked)
    if not added:
        return after, f"{words}; nothing the layout offers makes up for it: {', '.join(sorted(wanted))} weaker"
    return replace(after, added=after.added | set(added)), f"{words}; shoot {', '.join(added)} instead"


def _weakened(solver: Solver, fold: JobFold, before: tuple[Shot, ...], rest: tuple[Shot, ...]) -> set[str]:
    """Return the results that the missing shot leaves undetermined or a quarter less certain."""
    repeats = fold.header.repeats if fold.header is not None else 1
    if fold.layout is None:
        return set()
    was = {result.key: result for result in prove(solver, fold.layout, before, repeats).results}
    now = prove(solver, fold.layout, rest, repeats)
    return set(now.undetermined) - {key for key, result in was.items() if result.u is None} | {
        result.key for result in now.results if result.forecast_u > 1.25 * was[result.key].forecast_u
    }


def _retake(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    shot = _shot(fold, body)
    places = {
        number: replace(place, state="set aside", why="shot retaken")
        if place.shot == shot.id and place.round == fold.board.round and place.state in ("accepted", "held")
        else place
        for number, place in fold.board.places.items()
    }
    board = replace(fold.board.reopened(shot.id), places=places, focus=shot.id)
    return board, f"{shot.id} will be taken again"


def _go(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    shot = _shot(fold, body)
    return replace(fold.board.reopened(shot.id), focus=shot.id), f"next: {shot.id}"


def _accept(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = _reading(fold, body)
    place = fold.board.places[number]
    if place.state not in ("held", "unassigned", "backlog", "set aside"):
        raise Refused(
            f"reading {number} cannot be accepted", found=place.state,
            allowed="a held, unassigned, backlog or set aside reading", do="choose another reading",
        )  # fmt: skip
    shot = fold.shot_named(str(body["shot"])) if body.get("shot") else None
    name = shot.id if shot is not None else place.shot or _shot(fold, body).id
    _must_measure(fold, number, fold.shot_named(name))
    turns = place.turns or fold.turns_before(fold.shot_named(name))
    taken = Place(
        state="accepted", why=str(body.get("reason", "accepted by a person")), round=fold.board.round, shot=name,
        turns=turns,
    )  # fmt: skip
    board = fold.board
    target = fold.shot_named(name)
    if target.turn and (board.round, name) not in board.turned:
        board = board.turned_by(target.turn, name, "shot")
    return hold_odd_one(fold, board.placed(number, taken), target), f"reading {number} accepted for {name}"


def _must_measure(fold: JobFold, number: int, shot: Shot) -> None:
    quantity = fold.quantity_of(shot)
    if quantity not in fold.readings[number].values:
        raise Refused(
            f"reading {number} does not fit {shot.id}", found="another quantity", allowed=quantity.value,
            do="choose a shot of the same quantity",
        )  # fmt: skip


def _aside(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = _reading(fold, body)
    place = fold.board.places[number]
    why = str(body.get("reason", "set aside by a person"))
    return fold.board.placed(number, replace(place, state="set aside", why=why)), f"reading {number} set aside"


def _move(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = _reading(fold, body)
    shot = fold.shot_named(str(body["shot"]))
    _must_measure(fold, number, shot)
    place = fold.board.places[number]
    turns = place.turns or fold.turns_before(shot)
    moved = Place(state="accepted", why=f"moved from {place.shot or place.state}", round=fold.board.round,
                  shot=shot.id, turns=turns)  # fmt: skip
    return fold.board.placed(number, moved), f"reading {number} moved to {shot.id}"


def _swap(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    """Exchange the readings of a shot with those of its mirror image on the other side."""
    shot = fold.shot_named(str(body["shot"])) if body.get("shot") else _last_shot(fold)
    other_name = f"{mirrored(shot.start)}>{mirrored(shot.end)}" + shot.id[shot.id.find("#") :] * ("#" in shot.id)
    other = fold.shot_named(other_name)
    exchange = {shot.id: other.id, other.id: shot.id}
    places = {
        number: replace(place, shot=exchange[place.shot], why="left and right swapped")
        if place.shot in exchange and place.round == fold.board.round and place.state in ("accepted", "held")
        else place
        for number, place in fold.board.places.items()
    }
    return replace(fold.board, places=places), f"readings of {shot.id} and {other.id} swapped"


def _last_shot(fold: JobFold) -> Shot:
    taken = [place.shot for _, place in sorted(fold.board.places.items()) if place.shot is not None]
    if not taken:
        raise Refused("nothing was taken yet", found="no reading", allowed="a shot with readings", do="take a shot")
    return fold.shot_named(taken[-1])


def _turned(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    shot = _shot(fold, body)
    if not shot.turn or (fold.board.round, shot.id) in fold.board.turned:
        raise Refused(
            f"no turn is due at {shot.id}", found="no target to turn", allowed="a shot that starts with a turn",
            do="go on shooting",
        )  # fmt: skip
    how = "not turned" if body["act"] == "not-turned" else "person"
    words = f"{', '.join(shot.turn)} {'left as they are' if how == 'not turned' else 'turned half a turn'}"
    return fold.board.turned_by(shot.turn, shot.id, how), words


def _undo(fold: JobFold, _body: Mapping[str, Any]) -> Outcome:
    if not fold.past:
        raise Refused("nothing is left to undo", found="the start of the job", allowed="-", do="go on")
    earlier, what = fold.past[-1]
    later = {
        number: replace(place, state="set aside", why="undone") if place.state in ("accepted", "held") else place
        for number, place in fold.board.places.items()
    }
    return replace(earlier, places={**later, **earlier.places}), f"undone: {what}"


def _round(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = fold.board.round + 1
    return replace(fold.board, round=number, focus=None), f"round {number} opened: {body.get('note', 'after work')}"


def _moved(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    words = str(body["words"])
    return replace(fold.board, moves=(*fold.board.moves, (fold.board.round, words))), f"work done: {words}"


def _note(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    words = str(body["words"])
    return replace(fold.board, notes=(*fold.board.notes, words)), f"noted: {words}"


ACTS: dict[str, Callable[[JobFold, Mapping[str, Any]], Outcome]] = {
    "tick": _tick,
    "skip": _skip,
    "blocked": _blocked,
    "retake": _retake,
    "go": _go,
    "accept": _accept,
    "aside": _aside,
    "move": _move,
    "swap": _swap,
    "turned": _turned,
    "not-turned": _turned,
    "undo": _undo,
    "round": _round,
    "moved": _moved,
    "note": _note,
}
