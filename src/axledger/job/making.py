"""A move that was made, as a person tells it: which adjuster, at which end, by how much."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from axledger.contract.errors import BadInput, UnknownName
from axledger.geometry.moves import freed
from axledger.job.board import MadeMove
from axledger.job.controls import Handle, handles_of
from axledger.job.move_words import words_of

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["made_move"]


def made_move(fold: JobFold, body: Mapping[str, Any]) -> tuple[MadeMove, str]:
    """Return the move of an act ``moved`` with ``adjuster``, ``end`` and ``amount_mm``, and words for it.

    What was done is taken as told, also beyond the declared range. Raises ``UnknownName`` or ``BadInput`` where it
    names what the layout does not have.
    """
    handle = _handle(fold, str(body["adjuster"]), str(body.get("end", "")))
    amount_m = _amount_m(body.get("amount_mm"))
    words = str(body.get("words") or words_of(handle, amount_m))
    made = MadeMove(
        round=fold.board.round, unit=handle.unit.id, axle=handle.axle.code, adjuster=handle.name, end=handle.end,
        amount_m=amount_m, steering=handle.steers,
    )  # fmt: skip
    used = amount_m + sum(
        move.amount_m for move in fold.board.made if (move.adjuster, move.end) == (handle.name, handle.end)
    )
    if not handle.control.low_m - 1e-6 <= used <= handle.control.high_m + 1e-6:
        words = f"{words} - beyond the range that the layout declares"
    return made, words


def _handle(fold: JobFold, name: str, end: str) -> Handle:
    solution = fold.solution()
    handles: list[Handle] = []
    if fold.layout is not None and solution is not None:
        for unit, geometry in zip(fold.layout.unit, solution.model.units, strict=True):
            handles += handles_of(unit, freed(geometry, solution.adjusted.x)[0])
    known = list(dict.fromkeys(one.name for one in handles))
    fitting = [one for one in handles if name in (one.name, one.name.partition(".")[2])]
    if not fitting:
        raise UnknownName("adjuster", name, known, do="name one that the layout declares, or say the work in words")
    found = [one for one in fitting if one.end == end]
    if len(found) != 1:
        ends = [f"{one.name} {one.end}".strip() for one in fitting]
        raise BadInput(
            "which end was moved is not clear", found=f"{name} {end}".strip(), allowed=", ".join(ends),
            do="name the end",
        )  # fmt: skip
    return found[0]


def _amount_m(amount_mm: object) -> float:
    if isinstance(amount_mm, bool) or not isinstance(amount_mm, int | float) or not math.isfinite(amount_mm):
        raise BadInput(
            "how far it was moved is not clear", found=repr(amount_mm),
            allowed="millimetres, forward, to the left or longer positive", do="say it in millimetres",
        )  # fmt: skip
    return float(amount_mm) / 1000
