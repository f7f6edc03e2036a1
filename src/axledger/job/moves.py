"""What to do: from the results of a round to the moves that bring them inside their limits.

Only declared adjusters are moved, inside their ranges, on their steps; an axle whose results conform is left alone,
and one that is undecided with its value inside the limits is measured further before anybody loosens a bolt. All
results of a unit are looked at together, because a move at one axle changes what others are judged against.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from axledger.contract.quantity import UNITS, from_si
from axledger.geometry.adjustment import Array
from axledger.geometry.conformity import Rule, Verdict, judge
from axledger.geometry.moves import freed, reached
from axledger.geometry.results import UnitGeometry, evaluate
from axledger.geometry.setting_search import Bounded, best_setting
from axledger.job.adjusters import DragLink, LateralRod, TieRod
from axledger.job.board import MadeMove
from axledger.job.controls import Handle, handles_of
from axledger.job.layout import AxleKind, Reference, Unit
from axledger.job.move_words import CAUTIONS, SIDES, way_of, words_of
from axledger.job.solution import Result, Solution

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["Expected", "Move", "MovePlan", "advised_moves"]

_WORTH = 0.01
"""One more move is asked for where it makes it a hundredth more probable that every limit is met (own figure)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One move. ``amount_mm`` is its size, ``signed_mm`` positive forward, to the left or longer.

    ``steps`` and ``turns`` count the same move where the adjuster is stepped or threaded. ``end`` is "left", "right"
    or "" (the axle or the rod as a whole). ``arguments`` are those of the act ``moved`` once it is done.
    """

    adjuster: str
    unit: str
    axle: str
    axle_name: str
    end: str
    way: str
    amount_mm: float
    signed_mm: float
    steps: int | None
    turns: float | None
    words: str

    @property
    def arguments(self) -> Mapping[str, Any]:
        """Return what ``JobRun.act("moved", **arguments)`` takes."""
        return {"adjuster": self.adjuster, "end": self.end, "amount_mm": self.signed_mm, "words": self.words}


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a result is expected to be after the moves: ``after`` with ``u``, setting errors of the moves included."""

    key: str
    name: str
    unit: str
    before: float
    after: float
    u: float
    lower: float | None
    upper: float | None
    verdict: Verdict
    probability: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MovePlan:
    """``moves`` in the order in which to make them; ``predicted`` the results with limits after all of them.

    ``cannot`` says in words which limits the declared adjusters do not reach, ``measure_first`` what is to be decided
    by measuring before it is moved. ``move_words`` are lines ready to print.
    """

    moves: tuple[Move, ...] = ()
    predicted: tuple[Expected, ...] = ()
    cannot: tuple[str, ...] = ()
    measure_first: tuple[str, ...] = ()

    @property
    def move_words(self) -> tuple[str, ...]:
        """Return the moves, numbered, with where left is and the cautions; empty where there are none."""
        if not self.moves:
            return ()
        return (SIDES, *(f"{number}. {move.words}" for number, move in enumerate(self.moves, start=1)), *CAUTIONS)


def advised_moves(fold: JobFold, round_number: int | None = None, *, settle: bool = False) -> MovePlan:
    """Return what to move after a round (default: the present one).

    With ``settle`` what is undecided is moved to the middle of its limits as well: for a person who has measured
    enough. Nothing is advised on readings that contradict each other.
    """
    number = fold.board.round if round_number is None else round_number
    solution = fold.solution(number)
    if solution is None or fold.layout is None or fold.limits is None:
        return MovePlan(measure_first=("there are no limits to judge by: open the job with a limit sheet",))
    if solution.contradicts:
        return MovePlan(measure_first=("the readings contradict each other: settle that before anything is moved",))
    rule = fold.limits.decision_rule
    made = [one for one in fold.board.made if one.round < number]
    plans = [
        _Unit(unit, geometry, solution, rule, made).plan(settle=settle)
        for unit, geometry in zip(fold.layout.unit, solution.model.units, strict=True)
    ]
    return MovePlan(
        moves=tuple(move for plan in plans for move in plan.moves),
        predicted=tuple(one for plan in plans for one in plan.predicted),
        cannot=tuple(words for plan in plans for words in plan.cannot),
        measure_first=tuple(words for plan in plans for words in plan.measure_first),
    )


class _Unit:
    """One unit of a solved round: its results with limits, and the adjusters that reach them."""

    def __init__(
        self, unit: Unit, geometry: UnitGeometry, solution: Solution, rule: Rule, made: Sequence[MadeMove]
    ) -> None:
        self.unit = unit
        self.rule = rule
        self.geometry, self.x = freed(geometry, solution.adjusted.x)
        self.at_x = self._values(self.x)
        limited = [one for one in solution.results if one.key.split(".")[0] == unit.id and _is_limited(one)]
        self.undetermined = [one for one in limited if one.value is None or one.u is None]
        self.known = [one for one in limited if one.value is not None and one.u is not None and one.key in self.at_x]
        self.handles = handles_of(unit, self.geometry, made)

    def _values(self, x: Array) -> dict[str, float]:
        return {formula.key: formula.value.value for formula in evaluate(self.geometry, x)}

    def plan(self, *, settle: bool) -> MovePlan:
        """Return what to move on this unit."""
        undecided = [one for one in self.known if one.verdict is Verdict.UNDECIDED]
        off = {one.key for one in self.known if one.verdict is Verdict.FAILS}
        off |= {one.key for one in undecided if settle or not _is_inside(one, one.value)}
        wait = [one for one in undecided if one.key not in off]
        amounts = self._amounts(self._of_axles_in_want(off)) if off else {}
        expected = self._expected(amounts)
        if any(not _is_inside(one, one.after) for one in expected if one.key in off):
            # not by moving what does not conform alone: perhaps with an axle that was to be left alone
            with_all = self._amounts(self.handles)
            if _outside(self._expected(with_all)) < _outside(expected):
                amounts, expected = with_all, self._expected(with_all)
        settled = {one.key for one in expected if one.verdict is Verdict.CONFORMS}
        return MovePlan(
            moves=tuple(_move(handle, amounts[handle.control.name]) for handle in self._in_order(amounts)),
            predicted=expected,
            cannot=tuple(self._cannot(one, amounts) for one in expected if not _is_inside(one, one.after)),
            measure_first=(
                *(f"{one.name} is not determined yet: finish the plan" for one in self.undetermined),
                *(_wait_words(one) for one in wait if one.key not in settled),
            ),
        )

    def _of_axles_in_want(self, off: Collection[str]) -> list[Handle]:
        """Return the adjusters of what has a result that is off, or no limit of its own: axles, and their wheels."""
        judged = {_judged(one.key) for one in self.known}
        wanting = {_judged(key) for key in off}
        places = [(handle, (handle.axle.id, handle.steers)) for handle in self.handles]
        return [handle for handle, place in places if place in wanting or place not in judged]

    def _moved(self, amounts: Mapping[str, float]) -> list[Handle]:
        return [handle for handle in self.handles if handle.control.name in amounts]

    def _amounts(self, handles: Sequence[Handle]) -> dict[str, float]:
        bounded = [
            Bounded(key=one.key, value=one.value or 0.0, u=one.u or 0.0, lower=one.lower, upper=one.upper)
            for one in self.known
        ]
        controls = [handle.control for handle in handles]
        return best_setting(self.geometry, self.x, controls, bounded, worth=_WORTH)

    def _expected(self, amounts: Mapping[str, float]) -> tuple[Expected, ...]:
        moved = self._moved(amounts)
        controls = [handle.control for handle in moved]
        sizes = [amounts[control.name] for control in controls]
        after = self._values(reached(self.x, controls, sizes))
        one_sd = [
            self._values(reached(self.x, controls, [*sizes[:n], sizes[n] + control.sd_m, *sizes[n + 1 :]]))
            for n, control in enumerate(controls)
        ]
        expected: list[Expected] = []
        for result in self.known:
            before, u = result.value or 0.0, result.u or 0.0
            there = before + after[result.key] - self.at_x[result.key]
            u = float(np.hypot.reduce([u, *(other[result.key] - after[result.key] for other in one_sd)]))
            judgement = judge(there, u, result.lower, result.upper, self.rule)
            expected.append(
                Expected(
                    key=result.key, name=result.name, unit=result.unit, before=before, after=there, u=u,
                    lower=result.lower, upper=result.upper, verdict=judgement.verdict,
                    probability=judgement.probability,
                )
            )  # fmt: skip
        return tuple(expected)

    def _in_order(self, amounts: Mapping[str, float]) -> list[Handle]:
        """Return what is moved: axles that the reference line rests on, driven ones, the rest, steering, toe last."""
        names = [axle.code for axle in self.unit.axle]
        rear = {axle.id for axle in self.geometry.rear}
        resting = {
            Reference.FRAME: set[str](),
            Reference.COUPLING: rear,
            Reference.AXLE_MIDDLES: rear | {self.unit.axle[0].id},
        }[self.unit.reference]

        def place(handle: Handle) -> tuple[int, int, int, int]:
            steering = 1 + isinstance(handle.adjuster, TieRod) if handle.steers else 0
            follows = 0 if handle.axle.id in resting else 1 if handle.axle.kind is AxleKind.DRIVEN else 2
            return steering, follows, names.index(handle.axle.code), not isinstance(handle.adjuster, LateralRod)

        return sorted(self._moved(amounts), key=place)

    def _cannot(self, one: Expected, amounts: Mapping[str, float]) -> str:
        reaching = [handle for handle in self.handles if self._reaches(handle, one)]
        ended = [
            handle for handle in reaching
            if amounts.get(handle.control.name) in (handle.control.low_m, handle.control.high_m)
        ]  # fmt: skip
        if not reaching:
            why = "no declared adjuster moves it"
        elif ended:
            why = f"the declared range of {' and '.join(dict.fromkeys(one.name for one in ended))} ends before"
        else:
            why = "the declared adjusters do not bring it inside together with the other limits"
        return f"{one.name} stays at {_shown(one.after, one.unit)}, limits {_limits(one)}: {why}"

    def _reaches(self, handle: Handle, one: Expected) -> bool:
        end = max(handle.control.high_m, handle.control.low_m, key=abs)
        return abs(self._values(reached(self.x, [handle.control], [end]))[one.key] - self.at_x[one.key]) > 0.5 * one.u


def _judged(key: str) -> tuple[str, bool]:
    """Return what a result judges: the axle's id, and whether it is the wheels' steering rather than the axle."""
    _, axle, quantity = key.split(".", 2)
    return axle, quantity.startswith(("toe", "steering"))


def _is_limited(result: Result) -> bool:
    return result.lower is not None or result.upper is not None


def _is_inside(one: Result | Expected, value: float | None) -> bool:
    if value is None:
        return False
    return (one.lower is None or value >= one.lower) and (one.upper is None or value <= one.upper)


def _outside(expected: Sequence[Expected]) -> int:
    return sum(not _is_inside(one, one.after) for one in expected)


def _shown(value_si: float, unit: str) -> str:
    return f"{from_si(value_si, UNITS[unit]):+.{2 if unit == 'deg' else 1}f} {unit}"


def _limits(one: Result | Expected) -> str:
    shown = [(word, bound) for word, bound in (("from", one.lower), ("to", one.upper)) if bound is not None]
    return " ".join(f"{word} {_shown(bound, one.unit)}" for word, bound in shown)


def _wait_words(one: Result) -> str:
    value = f"{_shown(one.value or 0.0, one.unit)}, limits {_limits(one)}"
    return f"{one.name} is undecided ({value}): measure more before it is moved"


def _move(handle: Handle, amount_m: float) -> Move:
    size_mm = abs(amount_m) * 1000
    stepped = handle.adjuster.step_mm if not isinstance(handle.adjuster, TieRod | DragLink) else 0.0
    turn_mm = handle.adjuster.mm_per_turn
    return Move(
        adjuster=handle.name,
        unit=handle.unit.id,
        axle=handle.axle.code,
        axle_name=handle.axle.name,
        end=handle.end,
        way=way_of(handle, amount_m),
        amount_mm=round(size_mm, 3),
        signed_mm=round(amount_m * 1000, 3),
        steps=round(size_mm / stepped) if stepped else None,
        turns=size_mm / turn_mm if turn_mm else None,
        words=words_of(handle, amount_m),
    )
