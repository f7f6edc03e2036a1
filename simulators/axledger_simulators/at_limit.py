"""Move a simulated vehicle's true axles until results of it are exactly at their limits.

A verdict *conforms* there is wrong as often as it is right, so its share shows what a decision rule promises.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from axledger.job.layout import AxleKind, Unit
from axledger.job.limits import LimitSheet
from axledger_simulators.planting import AxleTruth, UnitTruth
from axledger_simulators.rotation import Matrix, Vector
from axledger_simulators.true_results import true_results
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["plant_at_limits"]

_STEPS = 8
_CLOSE = 1e-10  # rad and m alike: far below any uncertainty
_OWN_SHARE = 0.3
"""How much of a result's gradient must be its own for it to be set beside those chosen before it."""
_SCALES = (0.003, math.radians(0.1), math.radians(0.1), math.radians(0.1))
"""What counts as alike large: aside (m), yaw, toe, steering (rad)."""


def plant_at_limits(vehicle: SimulatedVehicle, limits: LimitSheet, rng: np.random.Generator) -> frozenset[str]:
    """Set as many results as can be to one of their limits each, by lot; return their keys."""
    return frozenset(key for unit in vehicle.layout.unit for key in _one_unit(vehicle, unit, limits, rng))


def _one_unit(vehicle: SimulatedVehicle, unit: Unit, limits: LimitSheet, rng: np.random.Generator) -> Sequence[str]:
    standing = vehicle.units[unit.id]
    start = standing.truth

    def results(steps: Vector) -> dict[str, float]:
        return true_results(unit, _stepped(unit, start, steps), standing.to_world)

    goals = _goals(results(np.zeros(4 * len(unit.axle))), limits, rng)
    steps = _reached(results, goals, 4 * len(unit.axle))
    if steps is None:
        return ()
    kept, moves = steps
    standing.truth = _stepped(unit, start, moves)
    return kept


def _goals(now: Mapping[str, float], limits: LimitSheet, rng: np.random.Generator) -> dict[str, float]:
    """Return a limit for each limited result, in an order by lot."""
    keys = [key for key in now if limits.limit_for(key) is not None]
    goals: dict[str, float] = {}
    for number in rng.permutation(len(keys)):
        limit = limits.limit_for(keys[int(number)])
        ends = [end for end in ((limit.lower_si, limit.upper_si) if limit is not None else ()) if end is not None]
        goals[keys[int(number)]] = ends[int(rng.integers(len(ends)))]
    return goals


def _stepped(unit: Unit, truth: UnitTruth, steps: Vector) -> UnitTruth:
    axles = {
        axle.code: _moved(
            truth.axles[axle.code], steps[4 * n : 4 * n + 4] * _SCALES, steers=axle.kind is AxleKind.STEER
        )
        for n, axle in enumerate(unit.axle)
    }
    return replace(truth, axles=axles)


def _moved(axle: AxleTruth, by: Vector, *, steers: bool) -> AxleTruth:
    aside_m, yaw, toe, steering = (float(part) for part in by)
    # the wheels of an axle that does not steer go with its beam
    left, right = (steering - toe / 2, steering + toe / 2) if steers else (yaw, yaw)
    return replace(
        axle, y_m=axle.y_m + aside_m, yaw_rad=axle.yaw_rad + yaw, heading_left_rad=axle.heading_left_rad + left,
        heading_right_rad=axle.heading_right_rad + right,
    )  # fmt: skip


def _reached(
    results: Callable[[Vector], dict[str, float]], goals: Mapping[str, float], size: int
) -> tuple[Sequence[str], Vector] | None:
    """Return the chosen keys and the steps that set them; ``None`` where they cannot be set."""
    steps: Vector = np.zeros(size)
    kept = _independent(results, list(goals), size)
    for _ in range(_STEPS):
        now = results(steps)
        gap = np.array([goals[key] - now[key] for key in kept])
        if not len(gap) or float(np.abs(gap).max()) < _CLOSE:
            return (kept, steps) if kept else None
        steps = steps + np.linalg.lstsq(_gradient(results, kept, steps), gap, rcond=1e-6)[0]
    return None


def _gradient(results: Callable[[Vector], dict[str, float]], keys: Sequence[str], at: Vector) -> Matrix:
    half = 0.01
    columns: list[list[float]] = []
    for number in range(len(at)):
        ahead, behind = at.copy(), at.copy()
        ahead[number] += half
        behind[number] -= half
        high, low = results(ahead), results(behind)
        columns.append([(high[key] - low[key]) / (2 * half) for key in keys])
    return np.array(columns).T.reshape(len(keys), len(at))


def _independent(results: Callable[[Vector], dict[str, float]], keys: Sequence[str], size: int) -> list[str]:
    """Return those of ``keys``, in order, that can be set each on its own beside the earlier ones."""
    kept: list[str] = []
    basis: list[Vector] = []
    for key, row in zip(keys, _gradient(results, keys, np.zeros(size)), strict=True):
        length = float(np.linalg.norm(row))
        own = row - sum((float(row @ unit) * unit for unit in basis), np.zeros(size))
        if length > 0.0 and float(np.linalg.norm(own)) > _OWN_SHARE * length:
            kept.append(key)
            basis.append(own / np.linalg.norm(own))
    return kept
