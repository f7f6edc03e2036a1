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
from axledger.job.findings import findings_of
from axledger.job.follow_up import left_out_of
from axledger.job.layout import Layout
from axledger.job.making import made_move
from axledger.job.more import ask_for_more
from axledger.job.placing import hold_odd_one, instrument_for
from axledger.job.plan import Chosen, Shot, mirrored, plan_shots
from axledger.job.preparation import PREPARATION
from axledger.job.proof import alternatives, forecast
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
        newest = max(fold.readings, default=0)
        if (
            newest == 0
            or fold.board.places[newest].state != "held"
            or fold.board.places[newest].round != fold.board.round
        ):
            raise Refused(
                "the newest reading is not held", found=f"reading {newest}" if newest else "none",
                allowed="a held reading, by its number where it is not the newest",
                do="name it, such as :accept 11",
            )  # fmt: skip
        return newest
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
    board, words = _without(fold, _shot(fold, body))
    return _turns_inherited(fold, board), words


def _turns_inherited(fold: JobFold, board: Board) -> Board:
    """Return the board of a changed plan: a turn that was made stays made where another shot leads its stand now."""
    if fold.layout is None:
        return board
    before = {shot.id: shot.turn for shot in fold.shots()}
    plan = plan_shots(fold.layout, blocked=board.blocked, added=board.added, chosen=fold.chosen)
    after = {shot.id: shot.turn for shot in plan}
    turned = dict(board.turned)
    for name, turn in after.items():
        led = [other for other, its in before.items() if turn and its == turn and after.get(other) != turn]
        if led and before.get(name) != turn and (board.round, led[0]) in turned:
            turned[board.round, name] = turned[board.round, led[0]]
    return replace(board, turned=turned)


def _without(fold: JobFold, shot: Shot) -> Outcome:
    """Take a shot out of the plan, prove what is left, and add what makes up for it."""
    board = fold.board
    blocked = board.blocked | {shot.id}
    after = replace(board, blocked=blocked, focus=None)
    words = f"{shot.id} blocked"
    if fold.layout is None or fold.header is None or shot.kind == "tilt":
        return after, words
    solver = fold.fresh_solver()
    # against the whole plan of the layout: many small losses, one after the other, are a large one
    rest = plan_shots(fold.layout, blocked=blocked, added=board.added, chosen=fold.chosen)
    wanted = _weakened(solver, fold.layout, rest, fold.header.repeats, fold.chosen)
    if not wanted:
        return after, f"{words}; the rest of the plan still determines everything"
    added = alternatives(
        solver, fold.layout, rest, fold.header.repeats, wanted=wanted, blocked=blocked, chosen=fold.chosen
    )
    if not added:
        return after, f"{words}; nothing the layout offers makes up for it: {', '.join(sorted(wanted))} weaker"
    return replace(after, added=after.added | set(added)), f"{words}; shoot {', '.join(added)} instead"


def _weakened(solver: Solver, layout: Layout, rest: tuple[Shot, ...], repeats: int, chosen: Chosen) -> set[str]:
    """Return the results that ``rest`` leaves undetermined or a quarter less certain than the layout's plan does."""
    was = {result.key: result for result in forecast(solver, plan_shots(layout, chosen=chosen), repeats)}
    return {
        result.key
        for result in forecast(solver, rest, repeats)
        if (result.u is None and was[result.key].u is not None) or result.forecast_u > 1.25 * was[result.key].forecast_u
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
    if not fold.wanted_more(shot):
        raise Refused(
            f"{shot.id} has all its readings", found="a finished shot", allowed="a shot that is open or was skipped",
            do=f"retake {shot.id} if its readings are in doubt",
        )  # fmt: skip
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
    target = fold.shot_named(name)
    board = _assigned(fold, number, target, str(body.get("reason", "accepted by a person")))
    return hold_odd_one(fold, board, target), f"reading {number} accepted for {name}"


def _assigned(fold: JobFold, number: int, shot: Shot, why: str) -> Board:
    """Return the board with a reading accepted for a shot because a person says so; a turn due there is implied."""
    _must_measure(fold, number, shot)
    board, place = fold.board, fold.board.places[number]
    if place.round != board.round:
        raise Refused(
            f"reading {number} was taken in round {place.round}", found=f"round {board.round} is open",
            allowed=f"readings of round {board.round}", do="shoot it again: the vehicle may have changed since",
        )  # fmt: skip
    due = bool(shot.turn) and (board.round, shot.id) not in board.turned
    # a reading that was placed knows how its targets hung when it was taken; turns made since do not count for it
    known = place.shot == shot.id or (place.shot is not None and not due)
    turns = place.turns if known else fold.turns_before(shot)
    taken = Place(state="accepted", why=why, round=board.round, shot=shot.id, turns=turns)
    return (board.turned_by(shot.turn, shot.id, "shot") if due else board).placed(number, taken)


def _must_measure(fold: JobFold, number: int, shot: Shot) -> None:
    quantity = fold.quantity_of(shot)
    if quantity not in fold.readings[number].values:
        raise Refused(
            f"reading {number} does not fit {shot.id}", found="another quantity", allowed=quantity.value,
            do="choose a shot of the same quantity",
        )  # fmt: skip
    if (taken_with := fold.readings[number].instrument) != (wanted := instrument_for(fold, shot)):
        raise Refused(
            f"reading {number} was taken with {taken_with}", found=taken_with, allowed=wanted,
            do=f"shoot it again with {wanted}: each instrument has its own zero",
        )  # fmt: skip


def _aside(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = _reading(fold, body)
    place = fold.board.places[number]
    _must_not_repeat(number, place)
    why = str(body.get("reason", "set aside by a person"))
    return fold.board.placed(number, replace(place, state="set aside", why=why)), f"reading {number} set aside"


def _move(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = _reading(fold, body)
    if not body.get("shot"):
        raise Refused(
            f"reading {number} is to be moved, but not where to", found="no shot", allowed="a shot of the plan",
            do="name the shot",
        )  # fmt: skip
    shot = fold.shot_named(str(body["shot"]))
    place = fold.board.places[number]
    _must_not_repeat(number, place)
    board = _assigned(fold, number, shot, f"moved from {place.shot or place.state}")
    return hold_odd_one(fold, board, shot), f"reading {number} moved to {shot.id}"


def _must_not_repeat(number: int, place: Place) -> None:
    """Refuse to use what the device only sent again: its measurement already counts once."""
    if place.state == "repeat":
        raise Refused(
            f"reading {number} only repeats an earlier one", found=place.why, allowed="a reading of its own",
            do="use the reading that it repeats",
        )  # fmt: skip


def _swap(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    """Exchange the readings of a shot with those of its mirror image on the other side, or of ``other`` if named."""
    shot = fold.shot_named(str(body["shot"])) if body.get("shot") else _last_shot(fold)
    own_name = f"{mirrored(shot.start)}>{mirrored(shot.end)}" + shot.id[shot.id.find("#") :] * ("#" in shot.id)
    other = fold.shot_named(str(body["other"]) if body.get("other") else own_name)
    exchange = {shot.id: other.id, other.id: shot.id}
    # a line and its reverse have the same two targets: their readings differ in nothing but the order of names
    # where another shot was named, each reading keeps the turns that were in force when it was taken
    ends = () if set(shot.targets) == set(other.targets) or other.id != own_name else (*shot.targets, *other.targets)
    sides = {target: mirrored(target) for target in ends if target}
    places = {
        number: replace(
            place, shot=exchange[place.shot], turns=_mirrored_turns(place.turns, sides), why="left and right swapped"
        )
        if place.shot in exchange and place.round == fold.board.round and place.state in ("accepted", "held")
        else place
        for number, place in fold.board.places.items()
    }
    before = _turns_swapped(fold.board, shot, other) if other.id == own_name else fold.board
    board = replace(before, places=places)
    return board, f"readings of {shot.id} and {other.id} swapped"


def _turns_swapped(board: Board, shot: Shot, other: Shot) -> Board:
    """Return the board with the turns made at two mirrored shots exchanged: they were made on the other side."""
    if not shot.turn or tuple(mirrored(target) for target in shot.turn) != other.turn:
        return board
    made = {name: board.turned.get((board.round, name)) for name in (shot.id, other.id)}
    turned = {key: how for key, how in board.turned.items() if key[0] != board.round or key[1] not in made}
    turns = dict(board.turns)
    for name, wrong, right in ((shot.id, shot, other), (other.id, other, shot)):
        if (how := made[name]) is None:
            continue
        turned[board.round, right.id] = how
        for away, toward in zip(wrong.turn, right.turn, strict=True):
            if how != "not turned":
                turns[away], turns[toward] = turns.get(away, 0) - 1, turns.get(toward, 0) + 1
    return replace(board, turns={target: count for target, count in turns.items() if count}, turned=turned)


def _mirrored_turns(turns: Mapping[str, int], sides: Mapping[str, str]) -> dict[str, int]:
    """Return the half turns with left and right exchanged for the targets in ``sides``.

    Who shot on the wrong side also turned the target there, so a reading takes the states of its targets along.
    """
    exchanged = {sides.get(target, target): count for target, count in turns.items()}
    return {target: count for target, count in exchanged.items() if count}


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
    if how == "not turned":
        return _left_alone(fold.board, shot), f"{', '.join(shot.turn)} left as they are"
    words = f"{', '.join(shot.turn)} turned half a turn"
    return fold.board.turned_by(shot.turn, shot.id, how), words


def _left_alone(board: Board, shot: Shot) -> Board:
    """Return the board of a turn that was not made: readings held for the shot were taken without it, too."""
    places = {
        number: replace(place, turns=board.turns)
        if place.state == "held" and place.shot == shot.id and place.round == board.round
        else place
        for number, place in board.places.items()
    }
    return replace(board.turned_by(shot.turn, shot.id, "not turned"), places=places)


def _undo(fold: JobFold, _body: Mapping[str, Any]) -> Outcome:
    if not fold.past:
        raise Refused("nothing is left to undo", found="the start of the job", allowed="-", do="go on")
    earlier, what = fold.past[-1]
    later = {
        number: replace(place, state="set aside", why="undone") if place.state in ("accepted", "held") else place
        for number, place in fold.board.places.items()
    }
    back = replace(earlier, places={**later, **earlier.places})
    if what not in _TURNING:
        # what was wrong is the reading; a turn that it implied was made all the same, and asking for it once more
        # would turn the target back
        back = replace(back, turns=fold.board.turns, turned=fold.board.turned)
    return back, f"undone: {what}"


_TURNING = ("turned", "not-turned", "swap", "move", "accept")
"""Acts that say something of the targets themselves; only their undoing changes how the targets are taken to hang."""


def _round(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    number = fold.board.round + 1
    board = replace(fold.board, round=number, focus=None)
    words = f"round {number} opened: {body.get('note', 'after work')}"
    # what a slip is suspected in must not be taken over into the round after a move
    left_out = None if body.get("full") or findings_of(fold).findings else left_out_of(fold)
    if left_out is None:
        return board, words
    board = replace(board, left_out={**board.left_out, number: left_out})
    return board, f"{words}; only what was moved is shot again, targets as they hang"


def _moved(fold: JobFold, body: Mapping[str, Any]) -> Outcome:
    board = fold.board
    if body.get("adjuster"):
        made, words = made_move(fold, body)
        board = replace(board, made=(*board.made, made))
    else:
        words = str(body["words"])
    return replace(board, moves=(*board.moves, (board.round, words))), f"work done: {words}"


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
    "more": ask_for_more,
}
