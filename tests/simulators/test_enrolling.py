from __future__ import annotations

from pathlib import Path

import numpy as np

from axledger.contract.transport import Stamp
from axledger.job.in_force import marks_of
from axledger.job.library import load_layout
from axledger.job.target_history import targets_in
from axledger.ledger import Ledger
from axledger_simulators.enrolling import enrol_targets
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle


def test_enrolment_finds_the_bias_that_the_targets_have(tmp_path: Path) -> None:
    layout, faults = load_layout("tractor-4x2"), PlantedFaults(settings=1.5)
    with Ledger.open(tmp_path) as ledger:
        count = enrol_targets(ledger, layout, kit_seed=7, faults=faults, person="p", stamp=Stamp(1, 2))
        enrolled = targets_in(ledger)
    # two hub targets, two inboard ones, two straightedges
    assert count == len(enrolled) == 6
    # another vehicle with the same kit: half the difference over a half turn is the bias and seating
    off: list[float] = []
    for place, mark in marks_of(layout).items():
        if mark not in enrolled:
            continue
        biases: list[float] = []
        for seed in range(30):
            target = SimulatedVehicle.build(layout, seed, faults=faults, kit_seed=7).hung(place)
            up_m = target.along_m - target.seating_m
            target.turn()
            biases.append((up_m - (target.along_m - target.seating_m)) / 2 * 1000)
        assert max(biases) - min(biases) < 1e-9
        off.append((enrolled[mark].bias_mm - biases[0]) / enrolled[mark].u_mm)
    assert np.abs(off).max() < 4.0
