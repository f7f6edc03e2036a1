"""Before the job: whether these instruments, settings and shots can decide these limits, and what would.

A limit is decided only outside its guard bands, so a plan that is too coarse leaves even a perfect vehicle
undecided. Chances are those of a normal value of the forecast uncertainty (JCGM 106:2012, 8.3, guarded acceptance).
Every change that is offered was computed with the same network, none is a rule of thumb.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import UNITS, Quantity, from_si
from axledger.geometry.conformity import Rule
from axledger.job.handling import READING_S, TURN_S, shooting_s
from axledger.job.in_force import InForce, Known, targets_of
from axledger.job.layout import Layout, Mount, Procedure, stations_of
from axledger.job.more import TURNABLE
from axledger.job.plan import Chosen, Shot, plan_shots
from axledger.job.proof import forecast
from axledger.job.settings import MountKind
from axledger.job.solution import Result, Solver

__all__ = ["SURE", "Ability", "Change", "ability_body", "can_decide", "shown_conforming"]

SURE = 0.9
"""A limit counts as decidable where a perfectly set vehicle is shown to conform this often (own figure)."""
_BETTER_METER_M = 0.0003
_LONGER = 1.25
_ENROLLED_BIAS_MM = 0.13
"""What five half-turn pairs leave of a target's bias: own study, simulated."""
_ENROL_MIN = {MountKind.HUB: 6.0, MountKind.INBOARD: 6.0, MountKind.STRAIGHTEDGE: 11.0}
"""Minutes to enrol one target: working figures of our own."""
_HELPS = 0.1
_PLAIN = Chosen()


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change and what it would make of one limit: ``u`` (SI), ``zone_left``, chances ``perfect`` and ``half``.

    ``cost`` says in words what it takes.
    """

    words: str
    cost: str
    u: float
    zone_left: float
    perfect: float | None
    half: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ability:
    """How well one limit can be decided: forecast ``u`` (SI) and the share ``zone_left`` of the tolerance.

    ``perfect`` and ``half``: the chance that a vehicle set perfectly, and one at half its tolerance, is shown to
    conform; ``None`` for a limit on one side. ``cure`` is the cheapest change that makes the limit decidable, or
    where none does, the one that brings most; ``None`` where none is needed or none helps.
    """

    key: str
    name: str
    unit: str
    lower: float | None
    upper: float | None
    u: float
    zone_left: float
    perfect: float | None
    half: float | None
    cure: Change | None = None

    @property
    def sure(self) -> bool:
        """Tell whether the limit can be decided as it is."""
        return self.zone_left > 0.0 if self.perfect is None else self.perfect >= SURE


def shown_conforming(true: float, u: float, lower: float | None, upper: float | None, rule: Rule) -> float:
    """Return the chance that a vehicle whose true value is ``true`` is shown to conform; all in one unit, u > 0."""
    guard = rule.factor * u
    low = -math.inf if lower is None else lower + guard
    high = math.inf if upper is None else upper - guard
    return max(0.0, _below((high - true) / u) - _below((low - true) / u))


def _below(deviation: float) -> float:
    return 0.5 * math.erfc(-deviation / math.sqrt(2.0))


def can_decide(
    solver: Solver, layout: Layout, shots: Sequence[Shot], repeats: int, *, chosen: Chosen = _PLAIN
) -> tuple[Ability, ...]:
    """Return how well every limit on a result of ``shots`` can be decided, in the order of the results.

    Changes are looked for only where a limit is not decidable as it is.
    """
    rule = solver.limits.decision_rule if solver.limits is not None else Rule.GUARD_95
    abilities = [_ability(result, rule) for result in _limited(forecast(solver, shots, repeats))]
    if all(ability.sure for ability in abilities):
        return tuple(abilities)
    changed = [
        (words, cost, {result.key: _ability(result, rule) for result in _limited(results())})
        for words, cost, results in _changes(solver, layout, shots, repeats, chosen)
    ]
    return tuple(ability if ability.sure else _cured(ability, changed) for ability in abilities)


def _limited(results: Sequence[Result]) -> Iterator[Result]:
    return (result for result in results if result.zone_left is not None)


def _ability(result: Result, rule: Rule) -> Ability:
    low, high, u = result.lower, result.upper, result.forecast_u
    perfect = half = None
    if low is not None and high is not None:
        middle, room = (low + high) / 2.0, (high - low) / 2.0
        perfect, half = (shown_conforming(middle + share * room, u, low, high, rule) for share in (0.0, 0.5))
    determined = result.u is not None
    return Ability(
        key=result.key, name=result.name, unit=result.unit, lower=low, upper=high, u=u,
        zone_left=(result.zone_left or 0.0) if determined else 0.0,
        perfect=perfect if determined or perfect is None else 0.0, half=half if determined or half is None else 0.0,
    )  # fmt: skip


Results = Callable[[], tuple[Result, ...]]


def _cured(ability: Ability, changed: Sequence[tuple[str, str, dict[str, Ability]]]) -> Ability:
    """Return the ability with the first of the changes, cheapest first, that makes it sure, or the best one."""
    offers = [(words, cost, after[ability.key]) for words, cost, after in changed if ability.key in after]
    best = next((offer for offer in offers if offer[2].sure), None)
    if best is None and offers:
        best = max(offers, key=lambda offer: _score(offer[2]))
        best = best if _score(best[2]) - _score(ability) >= _HELPS else None
    if best is None:
        return ability
    words, cost, after = best
    cure = Change(words=words, cost=cost, u=after.u, zone_left=after.zone_left, perfect=after.perfect, half=after.half)
    return replace(ability, cure=cure)


def ability_body(ability: Ability) -> dict[str, Any]:
    """Return the ability as JSON data; ``u`` and limits in the result's display unit."""
    unit = UNITS[ability.unit]
    cure = ability.cure
    return {
        "key": ability.key,
        "unit": ability.unit,
        "u": from_si(ability.u, unit),
        "zone_left": ability.zone_left,
        "perfect": ability.perfect,
        "half": ability.half,
        "sure": ability.sure,
        "cure": None if cure is None else {
            "words": cure.words, "cost": cure.cost, "u": from_si(cure.u, unit), "zone_left": cure.zone_left,
            "perfect": cure.perfect, "half": cure.half,
        },
    }  # fmt: skip


def _score(ability: Ability) -> float:
    return ability.zone_left if ability.perfect is None else ability.perfect


# -- changes, cheapest first: seconds a job, then minutes once, then something to buy


def _changes(
    solver: Solver, layout: Layout, shots: Sequence[Shot], repeats: int, chosen: Chosen
) -> Iterator[tuple[str, str, Results]]:
    timed = [*_more_repeats(solver, shots, repeats), *_other_walks(solver, layout, shots, repeats, chosen)]
    for seconds, words, results in sorted(timed, key=lambda change: change[0]):
        yield words, f"{_minutes(seconds)} more each job", results

    def other(layout: Layout, meter: Instrument | None, in_force: InForce) -> Results:
        return lambda: forecast(
            Solver(
                layout, solver.limits, meter, solver.inclinometer, in_force, plate=solver.plate, offered=solver.offered
            ),
            shots,
            repeats,
        )

    minutes, enrolled = _enrolled(layout, solver.in_force)
    if minutes:
        yield "enrol the targets", f"{minutes:.0f} min once", other(layout, solver.meter, enrolled)
    if any(mount.kind is MountKind.STRAIGHTEDGE for unit in layout.unit for mount in unit.mount):
        longer = other(_lengthened(layout), solver.meter, solver.in_force)
        yield "straightedges a quarter longer", "other straightedges", longer
    if (meter := _steadier(solver.meter)) is not None:
        words = f"a meter that repeats to {1000 * _BETTER_METER_M:.1f} mm"
        yield words, "another meter", other(layout, meter, solver.in_force)


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f} min"


def _more_repeats(solver: Solver, shots: Sequence[Shot], repeats: int) -> Iterator[tuple[float, str, Results]]:
    for more in (1, 2):
        count = repeats + more
        seconds = READING_S * more * len(shots)
        yield seconds, f"{count} readings a shot", partial(forecast, solver, shots, count)


def _other_walks(
    solver: Solver, layout: Layout, shots: Sequence[Shot], repeats: int, chosen: Chosen
) -> Iterator[tuple[float, str, Results]]:
    order: tuple[Procedure, ...] = ("short", "default", "thorough")
    walks = [(Chosen(procedure=chosen.procedure, turns=True, parts=chosen.parts), "turn the targets half a turn")]
    walks += [
        (Chosen(procedure=name, turns=True, parts=chosen.parts), f"the {name} procedure")
        for name in order[order.index(chosen.procedure) + 1 :]
    ]
    now, known = _seconds(layout, shots, repeats), {tuple((shot.id, shot.turn) for shot in shots)}
    for walk, words in walks:
        other = plan_shots(layout, chosen=walk)
        shape = tuple((shot.id, shot.turn) for shot in other)
        if shape in known:
            continue
        known.add(shape)
        yield _seconds(layout, other, repeats) - now, words, partial(forecast, solver, other, repeats)


def _seconds(layout: Layout, shots: Sequence[Shot], repeats: int) -> float:
    kinds = {station.target: station.mount.kind for unit in layout.unit for station in stations_of(unit)}
    turning = sum(TURN_S[kinds[target]] for shot in shots for target in shot.turn)
    return shooting_s([shot.start for shot in shots], repeats, "") + turning


def _lengthened(layout: Layout) -> Layout:
    def mount(one: Mount) -> Mount:
        half_m = one.half_length_m
        return one if half_m is None else one.model_copy(update={"half_length_m": _LONGER * half_m})

    units = tuple(unit.model_copy(update={"mount": tuple(mount(one) for one in unit.mount)}) for unit in layout.unit)
    return layout.model_copy(update={"unit": units})


def _enrolled(layout: Layout, in_force: InForce) -> tuple[float, InForce]:
    """Return the minutes it takes to enrol every target not known yet, and what is in force once they are."""
    new = {
        target: kind
        for target, (kind, _) in targets_of(layout).items()
        if kind in TURNABLE and target not in in_force.targets
    }
    known = Known(bias_mm=0.0, u_mm=_ENROLLED_BIAS_MM, reference_mm=0.0, reference_u_mm=_ENROLLED_BIAS_MM, count=1)
    targets = {**in_force.targets, **dict.fromkeys(new, known)}
    return sum(_ENROL_MIN[kind] for kind in new.values()), replace(in_force, targets=targets)


def _steadier(meter: Instrument | None) -> Instrument | None:
    record = meter.quantities.get(Quantity.LENGTH) if meter is not None else None
    if meter is None or record is None or record.repeatability <= _BETTER_METER_M:
        return None
    better = record.model_copy(update={"repeatability": _BETTER_METER_M})
    return meter.model_copy(update={"quantities": {**meter.quantities, Quantity.LENGTH: better}})
