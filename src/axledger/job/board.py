"""The board: what has been placed where in a job, as one value that never changes in place.

Every act and every accepted reading makes a new board; undo goes back to an earlier one, keeps all readings and
marks what came after as set aside. Nothing is removed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from axledger.contract.frame import Quality
from axledger.contract.quantity import Quantity
from axledger.job.plan import Shot

__all__ = ["Board", "MadeMove", "Place", "Reading", "ReadingState"]

ReadingState = Literal["accepted", "held", "refused", "unassigned", "repeat", "backlog", "set aside"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One measurement that arrived: numbered in the job, traced to entry ``seq`` and its raw bytes.

    ``values`` maps a quantity to ``(value in SI, text as sent, unit as sent)``.
    """

    number: int
    seq: int
    link: str
    instrument: str
    role: str
    raw: bytes
    at_ns: int
    utc_ns: int
    values: Mapping[Quantity, tuple[float, str, str]]
    quality: Quality | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a reading stands: its state, why, and for which shot of which round, with the turns in force then."""

    state: ReadingState
    why: str = ""
    round: int = 1
    shot: str | None = None
    turns: Mapping[str, int] = field(default_factory=dict[str, int])


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeMove:
    """A move that was made after the readings of ``round``: which adjuster, at which end, by how much.

    ``adjuster`` is the name with the unit's id, ``end`` "left", "right" or "". ``amount_m`` is signed: forward, to
    the left, or the rod longer. ``steering``: wheels were turned, the axle stayed.
    """

    round: int
    unit: str
    axle: str
    adjuster: str
    end: str
    amount_m: float
    steering: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """``places`` by reading number; ``closed`` shots by (round, shot) with the word why; ``turns`` by target.

    ``turned`` holds the (round, shot) pairs whose turn was made and how it is known ("person", "shot", "not
    turned"). ``focus`` is a shot a person asked for, ``ticks`` the preparation list, ``added`` and ``blocked``
    shots by round. ``more`` counts readings wanted beyond a shot's repeats by (round, shot), ``extra`` holds shots
    beyond the walk by round: what was asked for to decide what the walk left open.
    ``made`` are the moves told with their amounts, ``left_out`` the shots that a follow-up round need not repeat.
    """

    round: int = 1
    places: Mapping[int, Place] = field(default_factory=dict[int, Place])
    closed: Mapping[tuple[int, str], str] = field(default_factory=dict[tuple[int, str], str])
    turns: Mapping[str, int] = field(default_factory=dict[str, int])
    turned: Mapping[tuple[int, str], str] = field(default_factory=dict[tuple[int, str], str])
    ticks: Mapping[str, str] = field(default_factory=dict[str, str])
    added: frozenset[str] = frozenset()
    blocked: frozenset[str] = frozenset()
    focus: str | None = None
    moves: tuple[tuple[int, str], ...] = ()
    made: tuple[MadeMove, ...] = ()
    left_out: Mapping[int, frozenset[str]] = field(default_factory=dict[int, frozenset[str]])
    notes: tuple[str, ...] = ()
    more: Mapping[tuple[int, str], int] = field(default_factory=dict[tuple[int, str], int])
    extra: tuple[tuple[int, Shot], ...] = ()
    _accepted: Mapping[tuple[int, str], tuple[int, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        # asked for every shot of the plan at every reading, so it is sorted out once per board
        index: dict[tuple[int, str], tuple[int, ...]] = {}
        for number in sorted(self.places):
            place = self.places[number]
            if place.state == "accepted" and place.shot is not None:
                key = (place.round, place.shot)
                index[key] = (*index.get(key, ()), number)
        object.__setattr__(self, "_accepted", index)

    def placed(self, number: int, place: Place) -> Board:
        """Return the board with one reading placed."""
        return replace(self, places={**self.places, number: place})

    def with_closed(self, shot: str, why: str) -> Board:
        """Return the board with a shot of this round closed without readings."""
        return replace(self, closed={**self.closed, (self.round, shot): why}, focus=None)

    def reopened(self, shot: str) -> Board:
        """Return the board with a shot of this round open again."""
        key = (self.round, shot)
        return replace(self, closed={other: why for other, why in self.closed.items() if other != key})

    def accepted(self, shot: str, round_number: int | None = None) -> tuple[int, ...]:
        """Return the numbers of the readings accepted for a shot, in order of arrival."""
        return self._accepted.get((self.round if round_number is None else round_number, shot), ())

    def turned_by(self, targets: tuple[str, ...], shot: str, how: str) -> Board:
        """Return the board after the turn that goes with ``shot``; "not turned" changes no target."""
        turns = dict(self.turns)
        if how != "not turned":
            for target in targets:
                turns[target] = turns.get(target, 0) + 1
        return replace(self, turns=turns, turned={**self.turned, (self.round, shot): how})
