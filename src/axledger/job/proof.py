"""Prove a plan before the job starts: what it determines, which limits it can decide, what each shot is worth."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from axledger.geometry.conformity import Verdict
from axledger.job.layout import Layout
from axledger.job.model import Sight, Tilt
from axledger.job.plan import Chosen, Shot, plan_shots, sight_of, tilt_of
from axledger.job.solution import Result, Solver

__all__ = ["Proof", "all_spares", "alternatives", "decisive_shots", "forecast", "lines_of", "prove"]

_LOOK_WORTH = 0.15
"""A shot with less redundancy than this is as good as unchecked (working figure of our own)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """``results`` as forecast, the keys ``undetermined``, the keys whose limits ``cannot_decide``, redundancies.

    ``unchecked`` lists shots in which a slip would go unseen. ``cure`` names shots to add for what is
    undetermined, empty where nothing the layout offers would help.
    """

    results: tuple[Result, ...]
    undetermined: tuple[str, ...]
    cannot_decide: tuple[str, ...]
    redundancy: Mapping[str, float]
    unchecked: tuple[str, ...]
    cure: tuple[str, ...]


def lines_of(shots: Sequence[Shot], turns: Mapping[str, int] | None = None) -> dict[str, Sight | Tilt]:
    """Return the line each shot measures, with the turns of the walk added to those already made."""
    state = dict(turns or {})
    lines: dict[str, Sight | Tilt] = {}
    for shot in shots:
        for target in shot.turn:
            state[target] = state.get(target, 0) + 1
        lines[shot.id] = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, state)
    return lines


def _forecast(solver: Solver, shots: Sequence[Shot], repeats: int) -> tuple[tuple[Result, ...], dict[str, float]]:
    lines = lines_of(shots)
    readings = [line for line in lines.values() for _ in range(repeats)]
    results, redundancy = solver.forecast(readings)
    per_shot = {shot.id: float(redundancy[number * repeats]) for number, shot in enumerate(shots)}
    return results, per_shot


def forecast(solver: Solver, shots: Sequence[Shot], repeats: int) -> tuple[Result, ...]:
    """Return what ``shots`` with ``repeats`` readings each would determine, and how well."""
    return _forecast(solver, shots, repeats)[0]


def _missing(results: Sequence[Result]) -> tuple[str, ...]:
    return tuple(result.key for result in results if result.verdict is Verdict.UNDETERMINED)


_PLAIN = Chosen()


def prove(solver: Solver, layout: Layout, shots: Sequence[Shot], repeats: int, *, chosen: Chosen = _PLAIN) -> Proof:
    """Return what the plan ``shots`` with ``repeats`` readings each is worth."""
    results, _ = _forecast(solver, shots, repeats)
    # the redundancy of a single look: repeats in one stance repeat the same slip and must not count as a check
    _, redundancy = _forecast(solver, shots, 1)
    missing = _missing(results)
    return Proof(
        results=results,
        undetermined=missing,
        cannot_decide=tuple(
            result.key for result in results if result.zone_left is not None and result.zone_left <= 0.0
        ),
        redundancy=redundancy,
        unchecked=tuple(name for name, worth in redundancy.items() if worth < _LOOK_WORTH),
        cure=alternatives(solver, layout, shots, repeats, wanted=missing, chosen=chosen) if missing else (),
    )


def alternatives(
    solver: Solver, layout: Layout, shots: Sequence[Shot], repeats: int, *, wanted: Collection[str],
    blocked: Collection[str] = (), chosen: Chosen = _PLAIN,
) -> tuple[str, ...]:  # fmt: skip
    """Return spare shots, fewest first, that determine the ``wanted`` results or bring them nearest.

    Greedy: each step takes the spare that lowers the sum of the missing results' relative uncertainty most.
    """
    present = {shot.id for shot in shots}
    every = plan_shots(layout, blocked=blocked, added=all_spares(layout), chosen=chosen)
    spares = [shot.id for shot in every if shot.spare]
    candidates = [name for name in spares if name not in present]
    added: list[str] = []
    kept = set(present)
    while candidates and len(added) < 6:
        scored = [
            (_shortfall(solver, _plan(layout, kept | {*added, name}, blocked, chosen), repeats, wanted), name)
            for name in candidates
        ]
        shortfall, best = min(scored)
        if shortfall >= 0.999 * _shortfall(solver, _plan(layout, kept | set(added), blocked, chosen), repeats, wanted):
            break
        added.append(best)
        candidates.remove(best)
        results, _ = _forecast(solver, _plan(layout, kept | set(added), blocked, chosen), repeats)
        if not set(_missing(results)) & set(wanted):
            return tuple(added)
    return tuple(added)


def all_spares(layout: Layout) -> frozenset[str]:
    """Name every spare pair, second looks included (the plan's own numbering, at most two of one direction)."""
    plain = {
        f"{pair.start or stand.at}>{pair.to}"
        for unit in layout.unit
        for stand in unit.stand
        for pair in stand.shots
        if pair.spare
    }
    return frozenset(plain | {f"{name}#2" for name in plain})


def _plan(layout: Layout, wanted: Collection[str], blocked: Collection[str], chosen: Chosen) -> tuple[Shot, ...]:
    return plan_shots(layout, blocked=blocked, added=wanted, chosen=chosen)


def _shortfall(solver: Solver, shots: Sequence[Shot], repeats: int, wanted: Collection[str]) -> float:
    results, _ = _forecast(solver, shots, repeats)
    return sum(result.forecast_u for result in results if result.key in wanted)


def decisive_shots(solver: Solver, shots: Sequence[Shot], repeats: int) -> dict[str, str]:
    """Return for each result the shot of the walk that first determines it."""
    lines = lines_of(shots)
    first = solver.first_determined([[lines[shot.id]] * repeats for shot in shots])
    return {key: shots[number].id for key, number in first.items()}
