from __future__ import annotations

import math

import numpy as np
import pytest

from axledger.job.library import load_layout, load_limit_sheet
from axledger_simulators.at_limit import plant_at_limits
from axledger_simulators.vehicle import SimulatedVehicle


@pytest.mark.parametrize(("name", "least"), [("semitrailer-2axle", 3), ("tractor-4x2", 6)])
def test_results_stand_exactly_at_limits_and_axles_stay_believable(name: str, least: int) -> None:
    sheet, layout = load_limit_sheet("example-fleet"), load_layout(name)
    vehicle = SimulatedVehicle.build(layout, 4)
    keys = plant_at_limits(vehicle, sheet, np.random.default_rng(1))
    truth = vehicle.truth()
    # how many there are at least: axles times freedoms that a limit speaks of, counted by hand
    assert len(keys) >= least
    for key in keys:
        limit = sheet.limit_for(key)
        assert limit is not None
        ends = [end for end in (limit.lower_si, limit.upper_si) if end is not None]
        assert min(abs(truth[key] - end) for end in ends) < 1e-9
    yaws = [axle.yaw_rad for unit in vehicle.units.values() for axle in unit.truth.axles.values()]
    assert max(map(abs, yaws)) < math.radians(1.0)


def test_every_end_of_a_limit_is_met_by_lot() -> None:
    sheet, layout = load_limit_sheet("example-fleet"), load_layout("semitrailer-1axle")
    met: set[float] = set()
    for lot in range(12):
        vehicle = SimulatedVehicle.build(layout, 4)
        plant_at_limits(vehicle, sheet, np.random.default_rng(lot))
        met.add(round(math.degrees(vehicle.truth()["trailer.axle1.squareness"]), 4))
    assert met == {-0.0910, 0.0910}  # the example sheet's limit of this result
