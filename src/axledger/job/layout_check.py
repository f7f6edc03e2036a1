"""Prove a layout before anybody stands in the bay: lines of sight, rank, expected uncertainty, what a slip can hide.

The instruments are generic: a meter that repeats to 0.7 mm with its zero known to 1 mm, an inclinometer of 0.02 degree
(working figures of our own). A job proves its own plan again with its own instruments and limits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from axledger.contract.errors import BadInput
from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.geometry.conformity import Verdict
from axledger.job.findings import smallest_visible
from axledger.job.instead import instead_of, is_own_tyre
from axledger.job.layout import Layout, Part, Procedure, Unit
from axledger.job.layout_faults import Place
from axledger.job.plan import Chosen, Shot, plan_shots, tilts_at_wheels
from axledger.job.proof import alternatives, forecast
from axledger.job.sight_lines import SightLines
from axledger.job.solution import Result, Solver

__all__ = ["UNSEEN_M", "LayoutCheck", "LayoutFault", "WalkProof", "check_layout", "refuse_bad", "sight_faults"]

UNSEEN_M = 0.010
"""A slip of a centimetre is not small: a shot that would hide it is named (working figure of our own)."""
_REPEATS = 2
_PROCEDURES: tuple[Procedure, ...] = ("default", "short", "thorough")


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutFault:
    """What keeps a layout from being used: where in the file, in words, and the cure."""

    place: Place
    words: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkProof:
    """What one walk is worth with generic instruments and two readings a shot.

    ``results`` hold the expected standard uncertainty as ``forecast_u``. ``cure`` names spare shots that would help the
    default walk. ``smallest_visible`` maps each distance shot to the smallest slip found with 80 % power, m (inf:
    none would be).
    """

    procedure: Procedure
    parts: tuple[Part, ...]
    shots: tuple[Shot, ...]
    results: tuple[Result, ...]
    undetermined: tuple[str, ...]
    cure: tuple[str, ...]
    smallest_visible: Mapping[str, float]

    @property
    def name(self) -> str:
        """Return the walk's name, its optional parts after a plus."""
        return " + ".join([self.procedure, *self.parts])

    @property
    def unseen(self) -> tuple[str, ...]:
        """Return the shots in which a slip of a centimetre would go unseen, the blindest first."""
        blind = [name for name, size in self.smallest_visible.items() if size > UNSEEN_M]
        return tuple(sorted(blind, key=lambda name: -self.smallest_visible[name]))


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutCheck:
    """The faults of a layout and the proofs of its walks, the default walk first."""

    faults: tuple[LayoutFault, ...]
    walks: tuple[WalkProof, ...]

    @property
    def good(self) -> bool:
        """Tell whether the layout can be used."""
        return not self.faults


def check_layout(layout: Layout) -> LayoutCheck:
    """Prove every procedure of ``layout`` that takes shots, and its optional parts on top of the default one."""
    walks = tuple(_proved(layout, chosen) for chosen in _offered(layout))
    return LayoutCheck(faults=(*sight_faults(layout), *_unproved(layout, walks)), walks=walks)


def refuse_bad(layout: Layout) -> None:
    """Raise ``BadInput`` where something stands in a wanted line, or the default walk tells nothing of an axle."""
    walks = tuple(_proved(layout, chosen) for chosen in (Chosen(),) if _distances(plan_shots(layout, chosen=chosen)))
    if faults := [*sight_faults(layout), *_unproved(layout, walks)]:
        raise BadInput(
            f"{layout.name} cannot be measured as it is written", found="; ".join(fault.words for fault in faults),
            allowed="clear lines, and shots that determine something of every axle",
            do="; ".join(dict.fromkeys(fault.do for fault in faults)),
        )  # fmt: skip


def sight_faults(layout: Layout) -> Iterator[LayoutFault]:
    """Yield every wanted line that something stands in, spare ones included, with what serves instead."""
    told: set[tuple[str, str]] = set()
    for number, unit in enumerate(layout.unit):
        lines = SightLines(unit)
        for place, stand in enumerate(unit.stand):
            for pair in stand.shots:
                start, end = pair.start or stand.at, pair.to
                found = lines.in_the_way(start, end, pair.fold)
                if found and (start, end) not in told:
                    told.add((start, end))
                    yield LayoutFault(
                        place=("unit", number, "stand", place, "shots"),
                        words=f"{start}>{end} is blocked: {_in_the_way(unit, start, end, found)}",
                        do=instead_of(unit, start, end, found),
                    )


def _in_the_way(unit: Unit, start: str, end: str, found: tuple[str, ...]) -> str:
    own = [name for name in found if is_own_tyre(unit, name, start, end)]
    other = [name for name in found if name not in own]
    words = [f"own tyre in the way ({', '.join(own)})"] if own else []
    return ", ".join([*words, *other])


def _solver(layout: Layout, chosen: Chosen) -> Solver:
    """Return a solver with the generic instruments and no limits."""
    meter = _instrument("meter", Quantity.LENGTH, 0.0007, 0.0001, 0.001)
    inclinometer = _instrument("inclinometer", Quantity.INCLINATION, *(math.radians(x) for x in (0.02, 0.01, 0.05)))
    plate = _instrument("plate", Quantity.INCLINATION, *(math.radians(x) for x in (0.1, 0.1, 0.1)))
    return Solver(layout, None, meter, inclinometer, plate=plate, offered=tilts_at_wheels(layout, chosen))


def _instrument(name: str, quantity: Quantity, repeatability: float, resolution: float, u_zero: float) -> Instrument:
    record = QuantityRecord(repeatability=repeatability, resolution=resolution, u_zero=u_zero)
    return Instrument(name=name, profile="typed", address="none", quantities={quantity: record})


def _offered(layout: Layout) -> Iterator[Chosen]:
    for procedure in _PROCEDURES:
        if _distances(plan_shots(layout, chosen=Chosen(procedure=procedure))):
            yield Chosen(procedure=procedure)
    parts: frozenset[Part] = frozenset(stand.part for unit in layout.unit for stand in unit.stand if stand.part)
    if parts:
        yield Chosen(parts=parts)


def _distances(shots: tuple[Shot, ...]) -> int:
    return sum(shot.kind == "distance" for shot in shots)


def _proved(layout: Layout, chosen: Chosen) -> WalkProof:
    solver, shots = _solver(layout, chosen), plan_shots(layout, chosen=chosen)
    results = forecast(solver, shots, _REPEATS)
    missing = tuple(result.key for result in results if result.verdict is Verdict.UNDETERMINED)
    # what a short walk leaves out is its own choice: help is searched for, slowly, where the usual walk falls short
    usual = chosen.procedure == "default" and not chosen.parts
    cure = alternatives(solver, layout, shots, _REPEATS, wanted=missing) if missing and usual else ()
    visible = smallest_visible(solver, shots, _REPEATS)
    distances = {shot.id for shot in shots if shot.kind == "distance"}
    return WalkProof(
        procedure=chosen.procedure,
        parts=tuple(sorted(chosen.parts)),
        shots=shots,
        results=results,
        undetermined=missing,
        cure=cure,
        smallest_visible={name: size for name, size in visible.items() if name in distances},
    )


def _unproved(layout: Layout, walks: tuple[WalkProof, ...]) -> Iterator[LayoutFault]:
    """Yield the axles of which the default walk determines nothing at all."""
    default = next((walk for walk in walks if walk.procedure == "default" and not walk.parts), None)
    if default is None:
        yield LayoutFault(
            place=("unit", 0), words="the default walk takes no distance at all",
            do='give stands shots, or take `when = ["thorough"]` away from them',
        )  # fmt: skip
        return
    known = {result.key for result in default.results} - set(default.undetermined)
    help_ = f"add the spare {', '.join(default.cure)}" if default.cure else ""
    for number, unit in enumerate(layout.unit):
        for place, axle in enumerate(unit.axle):
            if not any(key.startswith(f"{unit.id}.{axle.id}.") for key in known):
                yield LayoutFault(
                    place=("unit", number, "axle", place),
                    words=f"the default walk determines nothing of {axle.name} ({axle.code})",
                    do=help_ or f"add shots to both ends of {axle.code}: along the sides, and to its inboard targets",
                )
