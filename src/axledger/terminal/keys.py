"""What a person asks for: single keys on a terminal, lines with the same names where input is piped."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from axledger.contract.errors import BadInput, UnknownName
from axledger.job.preparation import PREPARATION

__all__ = ["COMMANDS", "KEYS", "Presses", "Wish", "key_help", "parse_command", "wish_of_key"]

ALL_ITEMS = tuple(item.id for item in PREPARATION)


@dataclass(frozen=True, slots=True)
class Wish:
    """An act of the job (or one of cure, advice, measure, close, quit, help) with its ``arguments``."""

    act: str
    arguments: Mapping[str, Any] = field(default_factory=dict[str, Any])


KEYS: dict[str, tuple[str, str]] = {
    "\r": ("turned", ""),
    "\n": ("turned", ""),
    "n": ("turned", "n or Enter: the target is turned, go on"),
    "u": ("undo", "u: undo"),
    "s": ("skip", "s: skip this shot"),
    "b": ("blocked", "b: the beam is blocked here, plan another way"),
    "r": ("retake", "r: take this shot again"),
    "w": ("swap", "w: swap left and right of the last shot"),
    "a": ("accept", "a: accept the held reading"),
    "x": ("not-turned", "x: the target was not turned"),
    "p": ("tick", "p: tick the whole preparation list"),
    "y": ("cure", "y: do the step proposed for the slip that was found"),
    "i": ("advice", "i: slips, what to measure next, what to turn or shim"),
    "m": ("measure", "m: let the meter measure"),
    "c": ("close", "c: close the job"),
    "q": ("quit", "q: leave, the job stays open"),
    "?": ("help", "?: this help, and : for a line such as :round or :moved words"),
}


def wish_of_key(key: str) -> Wish | None:
    """Return what a key asks for, or ``None`` for a key without meaning. Capitals count as small letters."""
    if key.lower() not in KEYS:
        return None
    act = KEYS[key.lower()][0]
    return Wish(act, {"items": list(ALL_ITEMS)}) if act == "tick" else Wish(act)


def key_help() -> tuple[str, ...]:
    """Return one line for each key."""
    return tuple(words for _, words in KEYS.values() if words)


class Presses:
    """Drops a second press of one key within ``gap_ns``: gloves and wet hands press twice (0.4 s, own figure)."""

    def __init__(self, gap_ns: int = 400_000_000) -> None:
        self._gap_ns = gap_ns
        self._last: dict[str, int] = {}

    def counts(self, key: str, now_ns: int) -> bool:
        """Return whether this press counts; ``now_ns`` is monotonic."""
        before = self._last.get(key)
        self._last[key] = now_ns
        return before is None or now_ns - before >= self._gap_ns


Words = list[str]


def _nothing(act: str, words: Words) -> dict[str, Any]:
    if words:
        raise _bad(act, f"{act} takes nothing more", " ".join(words))
    return {}


def _shot_or_current(act: str, words: Words) -> dict[str, Any]:
    if len(words) > 1:
        raise _bad(act, f"{act} takes one shot at most", " ".join(words))
    return {"shot": words[0]} if words else {}


def _shot(act: str, words: Words) -> dict[str, Any]:
    if len(words) != 1:
        raise _bad(act, f"{act} needs one shot", " ".join(words) or "nothing")
    return {"shot": words[0]}


def _items(act: str, words: Words) -> dict[str, Any]:
    if not words:
        raise _bad(act, "tick needs items of the preparation list", "nothing")
    if words == ["all"]:
        return {"items": list(ALL_ITEMS)}
    for word in words:
        if word not in ALL_ITEMS:
            raise UnknownName("preparation item", word, ALL_ITEMS)
    return {"items": words}


def _accept(act: str, words: Words) -> dict[str, Any]:
    if not words:
        return {}
    if len(words) > 2:
        raise _bad(act, "accept takes a reading and a shot at most", " ".join(words))
    return {"reading": _number(act, words[0])} | ({"shot": words[1]} if len(words) == 2 else {})


def _aside(act: str, words: Words) -> dict[str, Any]:
    if not words:
        raise _bad(act, "aside needs the number of a reading", "nothing")
    return {"reading": _number(act, words[0])} | ({"reason": " ".join(words[1:])} if words[1:] else {})


def _move(act: str, words: Words) -> dict[str, Any]:
    if len(words) != 2:
        raise _bad(act, "move needs the number of a reading and a shot", " ".join(words) or "nothing")
    return {"reading": _number(act, words[0]), "shot": words[1]}


def _said(act: str, words: Words) -> dict[str, Any]:
    if not words:
        raise _bad(act, f"{act} needs words", "nothing")
    return {"words": " ".join(words)}


def _noted(_act: str, words: Words) -> dict[str, Any]:
    if words and words[0] == "full":
        return {"full": True, "note": " ".join(words[1:]) or "everything measured again"}
    return {"note": " ".join(words)} if words else {}


def _moved(act: str, words: Words) -> dict[str, Any]:
    """Take an advised move by its number (or all of them), with what was really moved; else the work in words."""
    if words == ["all"]:
        return {"advised": "all"}
    plain = words[:-1] if len(words) == 3 and words[-1] == "mm" and _is_figure(words[1]) else words
    if not plain or not plain[0].isdigit() or len(plain) > 2:  # "2 mm shim" is work in words
        return _said(act, words)
    asked = {"advised": _number(act, plain[0], "an advised move")}
    return asked | ({"amount_mm": _millimetres(act, plain[1])} if plain[1:] else {})


def _is_figure(word: str) -> bool:
    return word.lstrip("+-").replace(",", ".").replace(".", "", 1).isdigit()


def _millimetres(act: str, word: str) -> float:
    try:
        size = float(word.replace(",", "."))
    except ValueError:
        size = math.nan
    if not (math.isfinite(size) and abs(size) < 1000):
        raise _bad(act, "how far it was moved is said in mm", repr(word))
    return size


def _more(act: str, words: Words) -> dict[str, Any]:
    """Take a piece of advice by its number, or name shots, with ``turn TARGET`` and ``x3`` for three readings."""
    if len(words) == 1 and words[0].isdigit():
        return {"advised": _number(act, words[0], "a piece of advice")}
    rest, asked = list(words), dict[str, Any]()
    if "turn" in rest:
        place = rest.index("turn")
        asked["turn"] = rest[place + 1 : place + 2]
        del rest[place : place + 2]
    if rest and rest[-1][:1] == "x" and rest[-1][1:].isdigit():
        asked["readings"] = _number(act, rest.pop()[1:], "how many readings")
    if not rest or asked.get("turn") == []:
        raise _bad(act, "more needs shots, or the number of a piece of advice", " ".join(words) or "nothing")
    return {"shots": rest, **asked}


def _number(act: str, word: str, what: str = "a reading") -> int:
    if not (word.isascii() and word.isdigit() and len(word) < 10 and int(word) > 0):
        raise _bad(act, f"{what} is given by a number from 1", repr(word))
    return int(word)


COMMANDS: dict[str, tuple[str, Callable[[str, Words], dict[str, Any]]]] = {
    "turned": ("turned [SHOT]", _shot_or_current),
    "not-turned": ("not-turned [SHOT]", _shot_or_current),
    "undo": ("undo", _nothing),
    "skip": ("skip [SHOT]", _shot_or_current),
    "blocked": ("blocked [SHOT]", _shot_or_current),
    "retake": ("retake [SHOT]", _shot_or_current),
    "go": ("go SHOT", _shot),
    "swap": ("swap [SHOT]", _shot_or_current),
    "accept": ("accept [READING [SHOT]]", _accept),
    "aside": ("aside READING [WHY]", _aside),
    "move": ("move READING SHOT", _move),
    "tick": ("tick all, or tick ITEM ...", _items),
    "round": ("round [full] [NOTE]", _noted),
    "moved": ("moved NUMBER [MM], moved all, or moved WORDS", _moved),
    "more": ("more NUMBER, or more SHOT ... [turn TARGET] [x3]", _more),
    "cure": ("cure", _nothing),
    "advice": ("advice", _nothing),
    "note": ("note WORDS", _said),
    "measure": ("measure", _nothing),
    "close": ("close", _nothing),
    "quit": ("quit", _nothing),
    "help": ("help", _nothing),
}


def _bad(act: str, what: str, found: str) -> BadInput:
    return BadInput(what, found=found, allowed=COMMANDS[act][0], do="write the line again", kept="nothing was changed")


def parse_command(line: str) -> Wish | None:
    """Read one line such as ``move 3 F0L>S1Rf``; ``None`` for an empty one or a comment (``#``).

    A single letter is the key of that name: where values are typed, keys are lines too. Raises ``UnknownName`` for a
    strange command or item, ``BadInput`` for arguments that do not fit.
    """
    words = line.split()
    if not words or words[0].startswith("#"):
        return None
    if len(words) == 1 and len(words[0]) == 1 and (wish := wish_of_key(words[0])) is not None:
        return wish
    act = words[0].lower()
    if act not in COMMANDS:
        raise UnknownName("command", words[0], tuple(COMMANDS), do="write help for the list")
    return Wish(act, COMMANDS[act][1](act, words[1:]))
