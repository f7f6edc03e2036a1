"""Work on a simulated vehicle: advised moves made with small errors, measured again, made again.

The errors are invented: a slide is set to some tenths of a millimetre, a rod to ten degrees of its turn, a shim is
not quite what it says, and every move drags a little else along. The axle swings about its other mount as a rigid
beam does, which shares nothing with the formulas that the advice rests on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from axledger.contract.errors import UnknownName
from axledger.geometry.adjustment import Array
from axledger.geometry.moves import freed, reached
from axledger.geometry.results import UnitGeometry, evaluate
from axledger.geometry.setting_search import Bounded, best_setting
from axledger.job.adjusters import AnyAdjuster, AxleShift, DragLink, LateralRod, TieRod, name_of
from axledger.job.controls import handles_of
from axledger.job.fold import JobFold
from axledger.job.layout import Axle, Unit
from axledger.job.limits import LimitSheet
from axledger.job.moves import Move, advised_moves
from axledger.job.run import JobRun
from axledger_simulators.planting import AxleTruth, UnitTruth
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Mended", "make_move", "mend", "mended_share", "truly_inside", "within_reach"]

_SLIDE_MM, _TURN, _SHIM = 0.35, 0.03, 0.05
"""Largest errors: of a slide in mm, of a rod in turns, of a step as a share of it; all uniform."""
_DRAGGED = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """What came of the work on one vehicle. ``reachable``: the declared adjusters can meet all limits at once.

    ``inside`` tells, before the work and after each round of moves, whether all true results with limits lay inside
    them; ``decidable`` the same for those limits alone that the measurement could decide at all, which a job is told
    before it starts. ``moves`` says how many were made in each round, ``promised`` how probable the first advice
    held it that all limits would be met: with limits as narrow as u, no move can do better.
    """

    reachable: bool
    inside: tuple[bool, ...]
    decidable: tuple[bool, ...]
    moves: tuple[int, ...]
    promised: float


def mend(
    run: JobRun, vehicle: SimulatedVehicle, work: Callable[[], None], *, seed: int, rounds: int = 2, settle: bool = True
) -> Mended:
    """Work on ``vehicle``, whose present round is measured, as the advice says; ``work`` measures what is open.

    ``settle``: what stays undecided is moved to the middle of its limits, as by a person who has measured enough.
    """
    rng = np.random.default_rng([seed, 30])
    fold = run.fold
    reachable, promised = within_reach(fold, vehicle), 1.0
    keys = _decidable(fold)
    inside, decidable = [truly_inside(fold, vehicle)], [truly_inside(fold, vehicle, keys)]
    moves: list[int] = []
    for number in range(rounds):
        plan = advised_moves(fold, settle=settle)
        if number == 0:
            promised = math.prod(one.probability or 0.0 for one in plan.predicted)
        if not plan.moves:
            break
        for move in plan.moves:
            make_move(vehicle, move, rng)
            run.act("moved", **move.arguments)
        run.act("round")
        work()
        moves.append(len(plan.moves))
        inside.append(truly_inside(fold, vehicle))
        decidable.append(truly_inside(fold, vehicle, keys))
    return Mended(
        reachable=reachable, inside=tuple(inside), decidable=tuple(decidable), moves=tuple(moves), promised=promised
    )


def mended_share(jobs: Sequence[Mended]) -> tuple[int, int, int]:
    """Return how many jobs were within reach, and in how many of those all limits, or all decidable ones, were met."""
    reachable = [job for job in jobs if job.reachable]
    return len(reachable), sum(job.inside[-1] for job in reachable), sum(job.decidable[-1] for job in reachable)


def _decidable(fold: JobFold) -> frozenset[str]:
    """Return the results whose limits leave room to show conformity."""
    solution = fold.solution()
    results = solution.results if solution is not None else ()
    return frozenset(one.key for one in results if one.value is not None and one.zone_left)


def make_move(vehicle: SimulatedVehicle, move: Move, rng: np.random.Generator) -> None:
    """Make a move at the vehicle, as well as a person makes it."""
    unit = next(unit for unit in vehicle.layout.unit if unit.id == move.unit)
    axle = next(axle for axle in unit.axle if axle.code == move.axle)
    adjusters = {f"{unit.id}.{name_of(one, axle.id)}": one for one in unit.adjuster if one.axle == axle.code}
    if (adjuster := adjusters.get(move.adjuster)) is None:
        raise UnknownName("adjuster", move.adjuster, sorted(adjusters))
    amount_m = _made_mm(adjuster, move.signed_mm, rng) / 1000
    standing = vehicle.units[unit.id]
    truth = _moved(adjuster, axle, standing.truth.axles[axle.code], move.end, amount_m, rng)
    standing.truth = UnitTruth({**standing.truth.axles, axle.code: truth}, standing.truth.pin_m)


def _made_mm(adjuster: AnyAdjuster, wanted_mm: float, rng: np.random.Generator) -> float:
    share = float(rng.uniform(-1.0, 1.0))
    if isinstance(adjuster, TieRod | DragLink):
        return wanted_mm + share * _TURN * adjuster.mm_per_turn
    if adjuster.step_mm:
        return wanted_mm + share * _SHIM * adjuster.step_mm * max(1.0, math.sqrt(abs(wanted_mm) / adjuster.step_mm))
    return wanted_mm + share * _SLIDE_MM


def _moved(
    adjuster: AnyAdjuster, axle: Axle, truth: AxleTruth, end: str, amount_m: float, rng: np.random.Generator
) -> AxleTruth:
    dragged = float(rng.uniform(-_DRAGGED, _DRAGGED))
    if isinstance(adjuster, AxleShift):
        return _swung(adjuster, truth, 1 if end == "left" else -1, amount_m, dragged)
    if isinstance(adjuster, LateralRod):
        return replace(truth, y_m=truth.y_m + amount_m, x_m=truth.x_m + dragged * amount_m)
    turn = math.asin(amount_m * (1.0 + dragged) * 1000 / adjuster.arm_mm)
    if isinstance(adjuster, DragLink):
        turn = turn if adjuster.longer == "left" else -turn
        return replace(
            truth, heading_left_rad=truth.heading_left_rad + turn, heading_right_rad=truth.heading_right_rad + turn
        )
    inward = turn if adjuster.longer == "toe-in" else -turn
    if adjuster.wheel == "left":
        return replace(truth, heading_left_rad=truth.heading_left_rad - inward)
    return replace(truth, heading_right_rad=truth.heading_right_rad + inward)


def _swung(adjuster: AxleShift, truth: AxleTruth, side: int, amount_m: float, dragged: float) -> AxleTruth:
    """Pull one mount along the vehicle; the beam keeps its length and its other mount (or its middle) gives little."""
    half = adjuster.mount_half_m
    middle = np.array([truth.x_m, truth.y_m])
    across = np.array([-math.sin(truth.yaw_rad), math.cos(truth.yaw_rad)])
    pulled = middle + side * half * across + np.array([amount_m, 0.0])
    stays = middle if adjuster.pivot == "centre" else middle - side * half * across
    stays = stays + np.array([dragged * amount_m, 0.0])
    beam = (pulled - stays) * side
    yaw = math.atan2(-float(beam[0]), float(beam[1]))
    now = np.array([-math.sin(yaw), math.cos(yaw)])
    place = stays if adjuster.pivot == "centre" else stays + side * half * now
    # the wheels turn with the axle, less what the drag link holds back
    turned = (yaw - truth.yaw_rad) * (1.0 + dragged)
    return replace(
        truth, x_m=float(place[0]), y_m=float(place[1]), yaw_rad=yaw,
        heading_left_rad=truth.heading_left_rad + turned, heading_right_rad=truth.heading_right_rad + turned,
    )  # fmt: skip


def truly_inside(fold: JobFold, vehicle: SimulatedVehicle, keys: Collection[str] | None = None) -> bool:
    """Tell whether all true results that the job determines and has limits for (or ``keys`` alone) lie inside them."""
    solution = fold.solution()
    if solution is None or fold.limits is None:
        return False
    wanted = {one.key for one in solution.results if one.value is not None} if keys is None else keys
    return _inside(fold.limits, {key: value for key, value in vehicle.truth().items() if key in wanted})


def _inside(limits: LimitSheet, values: Mapping[str, float]) -> bool:
    for key, value in values.items():
        limit = limits.limit_for(key)
        if limit is None:
            continue
        if limit.lower_si is not None and value < limit.lower_si:
            return False
        if limit.upper_si is not None and value > limit.upper_si:
            return False
    return True


def within_reach(fold: JobFold, vehicle: SimulatedVehicle) -> bool:
    """Tell whether perfect moves of the declared adjusters could bring the true vehicle inside all limits at once."""
    solution = fold.solution()
    if solution is None or fold.limits is None:
        return False
    truth, limits = vehicle.truth(), fold.limits
    for unit, geometry in zip(vehicle.layout.unit, solution.model.units, strict=True):
        own, x = _true_place(geometry, unit, vehicle.units[unit.id].truth, len(solution.adjusted.x))
        at_x = {formula.key: formula.value.value for formula in evaluate(own, x)}
        bounded: list[Bounded] = []
        for key in at_x:
            if key in truth and (limit := limits.limit_for(key)) is not None:
                ends = [bound for bound in (limit.lower_si, limit.upper_si) if bound is not None]
                u = 0.02 * (ends[1] - ends[0]) if len(ends) == 2 else 1e-4
                bounded.append(Bounded(key=key, value=truth[key], u=u, lower=limit.lower_si, upper=limit.upper_si))
        controls = [replace(handle.control, sd_m=0.0) for handle in handles_of(unit, own)]
        amounts = best_setting(own, x, controls, bounded, worth=0.01)
        there = reached(x, controls, [amounts.get(control.name, 0.0) for control in controls])
        after = {formula.key: formula.value.value for formula in evaluate(own, there)}
        if not _inside(limits, {one.key: one.value + after[one.key] - at_x[one.key] for one in bounded}):
            return False
    return True


def _true_place(geometry: UnitGeometry, unit: Unit, truth: UnitTruth, size: int) -> tuple[UnitGeometry, Array]:
    """Return the freed geometry and the true parameters, with the coupling pin where the results take it to be."""
    own, x = freed(geometry, np.zeros(size))
    codes = {axle.id: axle.code for axle in unit.axle}
    beside = (0.0, 0.0) if truth.pin_m is None else (truth.pin_m[0] - geometry.pin_x_m, truth.pin_m[1])
    for axle in own.axles:
        true = truth.axles[codes[axle.id]]
        x[axle.x], x[axle.y], x[axle.yaw] = true.x_m - axle.x_m - beside[0], true.y_m - beside[1], true.yaw_rad
        if axle.steer is not None:
            x[axle.steer[0]] = true.heading_left_rad - true.yaw_rad
            x[axle.steer[1]] = true.heading_right_rad - true.yaw_rad
    return own, x
