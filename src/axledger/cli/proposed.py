"""What a person means who points at what the job proposed: the cure of a slip, a piece of advice, a move."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from axledger.contract.errors import Refused
from axledger.job.next_steps import NextSteps, next_steps_of
from axledger.terminal.keys import Wish

__all__ = ["meant", "proposed_cure"]


def meant(fold: Any, wish: Wish) -> list[Wish]:
    """Return the acts behind a wish, in order; raise ``Refused`` where nothing such was proposed."""
    if wish.act == "cure":
        cure = proposed_cure(fold)
        return [Wish(cure.act, cure.arguments)]
    if (asked := wish.arguments.get("advised")) is None:
        return [wish]
    steps = next_steps_of(fold, asked=True)
    if wish.act == "more":
        one = _numbered(steps, "piece of advice", steps.advice, asked)
        return [Wish(one.act, one.arguments)]
    if asked == "all":
        return [Wish("moved", move.arguments) for move in _all_moves(steps)]
    move = _numbered(steps, "advised move", steps.moves.moves, asked)
    made_mm = wish.arguments.get("amount_mm")
    if made_mm is None and steps.is_made(move):
        raise Refused(
            f"move {asked} is told already", found=f":moved {asked} a second time", allowed="each move once",
            do=f"say what was moved besides, such as :moved {asked} 0.5, or undo", kept="nothing was changed",
        )  # fmt: skip
    return [Wish("moved", move.arguments if made_mm is None else _made(move, float(made_mm)))]


def proposed_cure(fold: Any) -> Any:
    """Return the cure of the strongest finding; raise ``Refused`` where no slip is suspected."""
    suspected = next_steps_of(fold).suspected
    if not suspected:
        raise Refused(
            "no slip is suspected", found="readings that agree", allowed="cure, where a slip is suspected", do="go on"
        )
    return suspected[0].cure


def _numbered(steps: NextSteps, what: str, proposed: Sequence[Any], asked: int) -> Any:
    if asked > len(proposed):
        raise Refused(
            f"there is no {what} number {asked}", found=f"{len(proposed)} proposed",
            allowed=f"1 to {len(proposed)}" if proposed else "none now", do=_instead(steps),
        )  # fmt: skip
    return proposed[asked - 1]


def _all_moves(steps: NextSteps) -> Sequence[Any]:
    if not steps.to_make:
        raise Refused(
            "no advised move is left to be told",
            found=f"{len(steps.moves.moves)} advised, {len(steps.made)} told",
            allowed="moved all, where moves are advised",
            do="open the next round" if steps.made else _instead(steps),
        )
    return steps.to_make


def _instead(steps: NextSteps) -> str:
    return "settle the suspected slip first" if steps.suspected else "press i to see what is proposed"


def _made(move: Any, amount_mm: float) -> dict[str, Any]:
    """Return a move as made: a person says how far in the advised direction, the record has the sign."""
    signed_mm = math.copysign(1.0, move.signed_mm) * amount_mm
    return {"adjuster": move.adjuster, "end": move.end, "amount_mm": signed_mm}
