from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest

from axledger.contract.errors import UnknownName
from axledger.job.layout import Layout, stations_of
from axledger.job.library import load_layout
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

_STRAIGHT = PlantedFaults(deviations=0, settings=0, unevenness=0, slope=0)


def test_undisturbed_stations_stand_where_the_layout_says(tractor: Layout) -> None:
    vehicle = SimulatedVehicle.build(tractor, 3, faults=_STRAIGHT)
    for station in stations_of(tractor.unit[0]):
        assert vehicle.place_in_axes(station.name) == pytest.approx(station.place_m, abs=1e-12)


def test_slope_and_heading_leave_rigid_distances_and_truth_alone(combination: Layout) -> None:
    level = SimulatedVehicle.build(combination, 4, faults=PlantedFaults(slope_deg=(0, 0)))
    steep = SimulatedVehicle.build(combination, 4, faults=PlantedFaults(slope_deg=(2.0, -1.5)))
    for unit in combination.unit:
        for a, b in itertools.combinations([station.name for station in stations_of(unit)], 2):
            before = np.linalg.norm(level.place(a) - level.place(b))
            assert np.linalg.norm(steep.place(a) - steep.place(b)) == pytest.approx(before, abs=1e-12)
    assert steep.truth() == pytest.approx(level.truth(), abs=1e-12)


def test_plumbed_targets_hang_downhill(tractor: Layout) -> None:
    level = SimulatedVehicle.build(tractor, 4, faults=PlantedFaults(slope_deg=(0, 0)))
    nose_up = SimulatedVehicle.build(tractor, 4, faults=PlantedFaults(slope_deg=(1.0, 0)))
    left_high = SimulatedVehicle.build(tractor, 4, faults=PlantedFaults(slope_deg=(0, 1.0)))
    # computed by hand: 550 mm * sin 1 degree = 9.599 mm, rearward with the nose up, to the right with the left high
    shift_m = 0.009599
    assert (nose_up.place_in_axes("F0L") - level.place_in_axes("F0L"))[:2] == pytest.approx([-shift_m, 0], abs=1e-6)
    assert (left_high.place_in_axes("F0L") - level.place_in_axes("F0L"))[:2] == pytest.approx([0, -shift_m], abs=1e-6)
    assert nose_up.place_in_axes("D1Lh") == pytest.approx(level.place_in_axes("D1Lh"), abs=1e-12)


def test_a_plumb_line_is_plumb(tractor: Layout) -> None:
    vehicle = SimulatedVehicle.build(tractor, 4, faults=PlantedFaults(slope_deg=(1.5, 0.8), unevenness=0, settings=0))
    unit = vehicle.units["tractor"]
    fixed = unit.to_world(np.array([0.900, 0.450, 0.150 + 0.550]))
    assert vehicle.place("F0L") == pytest.approx(fixed - [0, 0, 0.550], abs=1e-12)


def test_the_straightedge_swings_about_the_pivot(tractor: Layout) -> None:
    faults = PlantedFaults(deviations=0, settings=0, unevenness=0, slope=0, steering_deg={"tractor.steer": 2.0})
    vehicle = SimulatedVehicle.build(tractor, 4, faults=faults)
    # computed by hand: pivot at 0.865, arm of 0.400 to the edge, 0.600 forward, turned by 2 degrees to the left
    c, s = math.cos(math.radians(2)), math.sin(math.radians(2))
    expected = (0.600 * c - 0.400 * s, 0.865 + 0.600 * s + 0.400 * c, 0.150)
    assert vehicle.place_in_axes("S1Lf") == pytest.approx(expected, abs=1e-12)


def test_turning_a_straightedge_keeps_its_marks_in_line(tractor: Layout) -> None:
    faults = PlantedFaults(deviations=0, unevenness=0, slope=0, bent_mm={"S1L": 1.0})
    vehicle = SimulatedVehicle.build(tractor, 8, faults=faults)
    before = {name: vehicle.place_in_axes(name) for name in ("S1Lf", "S1Lh", "S1Lr")}
    vehicle.turn("S1L")
    after = {name: vehicle.place_in_axes(name) for name in before}
    assert vehicle.states["S1L"] == 1
    assert vehicle.states["S1R"] == 0
    # the length between the ends is the object's own and survives the turn
    assert after["S1Lf"][0] - after["S1Lr"][0] == pytest.approx(before["S1Lf"][0] - before["S1Lr"][0], abs=1e-12)
    assert after["S1Lh"][0] != pytest.approx(before["S1Lh"][0], abs=1e-6)
    assert after["S1Lh"][1] == pytest.approx(before["S1Lh"][1], abs=1e-12)


def test_left_and_right_share_the_half_span_error(tractor: Layout) -> None:
    sums: list[float] = []
    differences: list[float] = []
    for seed in range(400):
        vehicle = SimulatedVehicle.build(tractor, seed, faults=PlantedFaults(deviations=0, slope=0))
        left, right = vehicle.place_in_axes("F2L")[1], vehicle.place_in_axes("F2R")[1]
        sums.append((left - right) / 2 - 0.470)
        differences.append((left + right) / 2)
    # computed by root sum of squares: span 10 with across 1/1.414 -> 10.02 mm; across alone 0.707 mm
    assert np.std(sums) * 1000 == pytest.approx(10.02, rel=0.15)
    assert np.std(differences) * 1000 == pytest.approx(0.707, rel=0.15)


def test_inclinations_and_their_turned_sign(tractor: Layout) -> None:
    vehicle = SimulatedVehicle.build(tractor, 1, faults=PlantedFaults(slope_deg=(0.5, -0.25)))
    assert math.degrees(vehicle.inclination("G", "along")) == pytest.approx(0.5)
    assert math.degrees(vehicle.inclination("G", "across-turned")) == pytest.approx(0.25)
    forward = vehicle.units["tractor"].to_world(np.array([1.0, 0, 0])) - vehicle.units["tractor"].origin_m
    assert math.degrees(math.asin(forward[2])) == pytest.approx(0.5)


def test_turning_one_target_does_not_change_the_draws_of_another(tractor: Layout) -> None:
    one, two = SimulatedVehicle.build(tractor, 6), SimulatedVehicle.build(tractor, 6)
    one.turn("D1Lh")
    one.turn("D1Rh")
    two.turn("D1Rh")
    two.turn("D1Lh")
    assert np.array_equal(one.place("D1Rh"), two.place("D1Rh"))
    assert np.array_equal(one.place("D1Lh"), two.place("D1Lh"))


def test_a_kit_keeps_its_biases_over_vehicles(tractor: Layout) -> None:
    def bias_m(vehicle: SimulatedVehicle) -> float:
        target = vehicle.hung("D1Lh")
        before = target.along_m - target.seating_m
        vehicle.turn("D1Lh")
        return (before - (target.along_m - target.seating_m)) / 2

    one, two, other = (SimulatedVehicle.build(tractor, seed, kit_seed=kit) for seed, kit in ((1, 9), (2, 9), (2, 8)))
    assert bias_m(one) == pytest.approx(bias_m(two), abs=1e-15)
    two.turn("D1Lh")
    assert bias_m(two) != pytest.approx(bias_m(other), abs=1e-9)


@pytest.mark.parametrize("act", ["place", "turn", "inclination"])
def test_strange_names_are_named(tractor: Layout, act: str) -> None:
    vehicle = SimulatedVehicle.build(tractor, 1)
    calls: dict[str, Callable[[], object]] = {
        "place": lambda: vehicle.place("Z9L"),
        "turn": lambda: vehicle.turn("S1Lf"),
        "inclination": lambda: vehicle.inclination("G", "up"),
    }
    with pytest.raises(UnknownName) as caught:
        calls[act]()
    assert caught.value.known


def test_settings_can_be_worse_for_one_kind_of_target() -> None:
    """The same draws, three times as large; other kinds, the pin and what is no setting keep theirs."""
    layout = load_layout("semitrailer-2axle")
    plain = SimulatedVehicle.build(layout, 4)
    worse = SimulatedVehicle.build(layout, 4, faults=PlantedFaults(settings_of={"hub": 3.0, "pin": 3.0}))
    for place, factor in (("T1Lh", 3.0), ("T2Rh", 3.0), ("T1Li", 1.0), ("K", 1.0)):
        assert worse.hung(place).along_m == pytest.approx(factor * plain.hung(place).along_m, rel=1e-12)
    spread = [vehicle.place_in_axes("T1Lh")[1] - vehicle.hung("T1Lh").across_m for vehicle in (plain, worse)]
    assert spread[0] == pytest.approx(spread[1], abs=1e-5)
