"""Simulated enrolment of targets: half-turn pairs on a standing hub, each look seated afresh."""

from __future__ import annotations

import math

import numpy as np

from axledger.contract.transport import Stamp
from axledger.job.in_force import marks_of, targets_of
from axledger.job.layout import Layout, stations_of
from axledger.job.target_history import enrol_target, enrolment_of
from axledger.ledger import Ledger
from axledger_simulators.noise import heavy_noise, rounded
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["enrol_targets"]

_PAIRS, _READINGS = 5, 5
_METER_MM, _STEP_MM = 0.7, 0.1
_AWAY_MM = 3000.0


def enrol_targets(
    ledger: Ledger, layout: Layout, *, kit_seed: int, faults: PlantedFaults, person: str, stamp: Stamp
) -> int:
    """Enrol every target of a kit that has a bias, five half-turn pairs each; return how many there were."""
    vehicle = SimulatedVehicle.build(layout, kit_seed, faults=faults, kit_seed=kit_seed)
    rng = np.random.default_rng([kit_seed, 22])
    marks, kinds = marks_of(layout), targets_of(layout)
    stated = {s.target: s.mount.stated for unit in layout.unit for s in stations_of(unit)}
    places = [place for place in marks if stated[place].bias > 0.0]
    for place in places:
        pairs = [_pair(vehicle, place, rng) for _ in range(_PAIRS)]
        kind, side = kinds[place]
        enrol_target(ledger, enrolment_of(marks[place], kind, pairs, side=side), person=person, stamp=stamp)
    return len(places)


def _pair(vehicle: SimulatedVehicle, place: str, rng: np.random.Generator) -> tuple[float, float]:
    """Return the two looks, mm, from a station ahead: a target that stands further forward is nearer to it."""
    target = vehicle.hung(place)
    looks: list[float] = []
    for _ in range(2):
        away_mm = _AWAY_MM - target.along_m * 1000
        shown = [rounded(away_mm + heavy_noise(rng, _METER_MM), _STEP_MM) for _ in range(_READINGS)]
        looks.append(math.fsum(shown) / _READINGS)
        target.turn()  # draws a new seating; two turns and the mark is up again
    return looks[0], looks[1]
