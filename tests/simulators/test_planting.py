from __future__ import annotations

import math

import numpy as np

from axledger.job.layout import Layout
from axledger_simulators.planting import PlantedFaults, draw_ground, draw_unit


def test_good_and_bad_axles_both_occur(tractor: Layout) -> None:
    yaws_deg = [
        abs(math.degrees(draw_unit(tractor.unit[0], np.random.default_rng(seed), PlantedFaults()).axles["D1"].yaw_rad))
        for seed in range(1000)
    ]
    # shares planted: 15 % above 0.25, 25 % between 0.08 and 0.2, and 0.6 * 0.8 % of the good ones above 0.08
    assert 0.11 < np.mean(np.array(yaws_deg) > 0.25) < 0.19
    assert 0.54 < np.mean(np.array(yaws_deg) < 0.08) < 0.66
    assert max(yaws_deg) < 0.6


def test_a_replaced_yaw_leaves_everything_else_alone(tractor: Layout) -> None:
    drawn = draw_unit(tractor.unit[0], np.random.default_rng(5), PlantedFaults())
    planted = draw_unit(
        tractor.unit[0], np.random.default_rng(5), PlantedFaults(yaw_deg={"tractor.drive": 0.3}, deviations=1.0)
    )
    assert planted.axles["D1"].yaw_rad == math.radians(0.3)
    assert planted.axles["D1"].y_m == drawn.axles["D1"].y_m
    assert planted.axles["S1"] == drawn.axles["S1"]


def test_planted_toe_and_steering(tractor: Layout) -> None:
    wrong = PlantedFaults(toe_deg={"tractor.steer": 0.2}, steering_deg={"tractor.steer": 1.0})
    steer = draw_unit(tractor.unit[0], np.random.default_rng(1), wrong).axles["S1"]
    assert math.isclose(math.degrees(steer.heading_rad(1)), 0.9)
    assert math.isclose(math.degrees(steer.heading_rad(-1)), 1.1)


def test_units_stand_apart_on_one_floor(combination: Layout) -> None:
    truck, trailer = draw_ground(combination, np.random.default_rng(2), PlantedFaults())
    assert (truck.along_rad, truck.across_rad) == (trailer.along_rad, trailer.across_rad)
    rearmost_of_truck = truck.origin_m[0] + min(axle.x_m for axle in combination.unit[0].axle)
    assert trailer.origin_m[0] <= rearmost_of_truck - 3.0
