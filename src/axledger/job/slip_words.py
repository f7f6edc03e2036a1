"""A slip in a person's words, and the one step that cures it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from axledger.job.slip_guesses import Guess
from axledger.job.slip_scene import Scene

__all__ = ["asked_of", "cure_of", "shot_anew", "words_of"]

_MM = 1000.0
_DEG = 57.29577951308232
_UNIT_WORDS = {
    "ft": "in feet, not metres", "in": "in inches, not metres", "cm": "in centimetres, not metres",
    "mm": "in millimetres, not metres", "m as ft": "in metres, not feet", "m as in": "in metres, not inches",
    "m as mm": "in metres, not millimetres",
}  # fmt: skip


def words_of(scene: Scene, guess: Guess) -> str:
    """Say what happened, in the trade's words."""
    return _WORDS[guess.slip](scene, guess)


def _names(scene: Scene, guess: Guess) -> str:
    names = [scene.shots[number].shot.id for number in guess.shots]
    if len(names) < 4:
        return ", ".join(names)
    return f"{names[0]} to {names[-1]} ({len(names)} shots)"


def _first(scene: Scene, guess: Guess) -> str:
    return scene.shots[guess.shots[0]].shot.id


def _off(guess: Guess) -> str:
    size = guess.size or 0.0
    return f"{abs(size) * _MM:.{0 if abs(size) > 0.03 else 1}f} mm too {'long' if size > 0 else 'short'}"


def _misread(scene: Scene, guess: Guess) -> str:
    if "taken" in guess.detail:
        taken, meant = guess.detail["taken"], guess.detail["meant"]
        return f"{_first(scene, guess)} is {_off(guess)}: misread by a digit, {taken} for {meant} mm"
    if scene.shots[guess.shots[0]].is_distance:
        return f"{_first(scene, guess)} is {_off(guess)}: misread, or not aimed at the mark"
    return f"{_first(scene, guess)} is off by {abs(guess.size or 0.0) * _DEG:.2f} deg: misread, or turned the wrong way"


def _past(scene: Scene, guess: Guess) -> str:
    return f"{_first(scene, guess)} is {_off(guess)}: the beam went past the target"


def _in_the_beam(scene: Scene, guess: Guess) -> str:
    return f"{_first(scene, guess)} is {_off(guess)}: something stood in the beam"


def _unit(scene: Scene, guess: Guess) -> str:
    return f"{_names(scene, guess)} read {_UNIT_WORDS[str(guess.detail['unit'])]}"


def _edge(scene: Scene, guess: Guess) -> str:
    every = "all " if len(guess.shots) > 1 else ""
    return f"{_names(scene, guess)}: {every}{_off(guess)}, measured from the wrong edge of the meter"


def _swap(scene: Scene, guess: Guess) -> str:
    detail = guess.detail
    if "of" in detail:
        return f"left and right swapped in all shots at {detail['of']}"
    if "stood" in detail:
        return f"{_names(scene, guess)}: left and right swapped, stood on the other side than {detail['stood']}"
    if "aimed" in detail:
        return f"{_names(scene, guess)}: left and right swapped, aimed at the other side from {detail['aimed']}"
    if detail.get("exchanged"):
        return f"{' and '.join(scene.shots[n].shot.id for n in guess.shots)}: left and right swapped"
    if "end" in detail:
        return f"{_first(scene, guess)}: left and right swapped, {_where(detail)}"
    return f"{_first(scene, guess)}: left and right swapped, shot on the other side"


def _where(detail: Mapping[str, Any]) -> str:
    return f"{'aimed at' if detail['end'] == 'end' else 'stood at'} {detail['station']}"


def _neighbour(scene: Scene, guess: Guess) -> str:
    shot = scene.shots[guess.shots[0]].shot
    wanted = shot.end if guess.detail["end"] == "end" else shot.start
    return f"{shot.id}: {_where(guess.detail)} instead of {wanted}"


def _other_shot(scene: Scene, guess: Guess) -> str:
    if guess.detail.get("exchanged"):
        return f"the readings of {' and '.join(scene.shots[n].shot.id for n in guess.shots)} are exchanged"
    detail = guess.detail
    return f"{_first(scene, guess)} holds a reading of the {detail['which']} shot, {detail['shot']}"


def _shift(guess: Guess) -> str:
    along, across = (float(part) * _MM for part in guess.detail["shift"])
    parts = [
        f"{abs(size):.0f} mm {word}"
        for size, word in (
            (along, "forward" if along > 0 else "backward"),
            (across, "to the left" if across > 0 else "to the right"),
        )
        if abs(size) >= 0.5
    ]
    return " and ".join(parts) or "by less than a millimetre"


def _target_moved(scene: Scene, guess: Guess) -> str:
    return f"target {guess.detail['target']} moved before {_first(scene, guess)}, about {_shift(guess)}"


def _badly_set(_scene: Scene, guess: Guess) -> str:
    return f"target {guess.detail['target']} is not where it belongs: about {_shift(guess)} of it"


def _vehicle_moved(scene: Scene, guess: Guess) -> str:
    return f"{guess.detail['axle']} stood otherwise from {_first(scene, guess)} on: the vehicle moved in between"


_WORDS: dict[str, Callable[[Scene, Guess], str]] = {
    "misread": _misread,
    "past target": _past,
    "in the beam": _in_the_beam,
    "unit": _unit,
    "edge": _edge,
    "swap": _swap,
    "neighbour": _neighbour,
    "other shot": _other_shot,
    "target moved": _target_moved,
    "badly set": _badly_set,
    "vehicle moved": _vehicle_moved,
}


def asked_of(scene: Scene, guess: Guess) -> str:
    """Ask briefly whether it was this, while the person still stands there."""
    detail = guess.detail
    if guess.slip == "unit":
        return f"read {_UNIT_WORDS[str(detail['unit'])]}?"
    if guess.slip == "swap":
        with_it = f" ({scene.shots[guess.shots[1]].shot.id} too)" if detail.get("exchanged") else ""
        where = f", {_where(detail)}" if "end" in detail else with_it
        return f"left and right swapped{where}?"
    if guess.slip == "neighbour":
        return f"{_where(detail)}?"
    if guess.slip == "other shot":
        if detail.get("exchanged"):
            return f"exchanged with {scene.shots[guess.shots[1]].shot.id}?"
        return f"reading of the {detail['which']} shot, {detail['shot']}?"
    return _ASKED.get(guess.slip, "right target?")


_ASKED = {
    "past target": "beam past the target?",
    "in the beam": "something in the beam?",
    "edge": "wrong edge of the meter, or not the right target?",
}


def cure_of(scene: Scene, guess: Guess) -> tuple[str, dict[str, Any], str]:
    """Return act, its arguments and words for the one step that starts the cure; a person takes it or does not."""
    shot = _first(scene, guess)
    if any(scene.shots[number].earlier for number in guess.shots):
        return shot_anew(_names(scene, guess))
    if guess.detail.get("exchanged"):
        other = scene.shots[guess.shots[1]].shot.id
        return "swap", {"shot": shot, "other": other}, f"exchange the readings of {shot} and {other}"
    if guess.slip == "vehicle moved":
        words = "open a new round: what was shot before no longer holds"
        return "round", {"full": True, "note": "the vehicle moved"}, words
    return "retake", {"shot": shot}, _RETAKE.get(guess.slip, "shoot {shot} again").format(
        shot=shot, rest=_rest(guess), **_particulars(guess)
    )  # fmt: skip


def shot_anew(names: str) -> tuple[str, dict[str, Any], str]:
    """Return act, arguments and words for shots of an earlier round: no act of this one takes them again."""
    words = f"open a full round: {names} was shot before the move and cannot be retaken in this one"
    return "round", {"full": True, "note": "a slip before the move"}, words


def _rest(guess: Guess) -> str:
    more = len(guess.shots) - 1
    return "" if more == 0 else f", then the {more} named with it" if more > 1 else ", then the other one"


def _particulars(guess: Guess) -> dict[str, str]:
    return {"target": str(guess.detail.get("target", ""))}


_RETAKE = {
    "unit": "set the meter to metres and shoot {shot} again{rest}",
    "edge": "set the meter to its own edge and shoot {shot} again{rest}",
    "swap": "look which side is meant and shoot {shot} again{rest}",
    "target moved": "set target {target} again and shoot {shot} again{rest}",
    "badly set": "set target {target} again and shoot {shot} again{rest}",
    "in the beam": "clear the line and shoot {shot} again",
    "past target": "watch the dot on the plate and shoot {shot} again",
}
