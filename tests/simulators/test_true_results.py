from __future__ import annotations

import math

import pytest

from axledger.job.layout import Layout
from axledger.job.library import load_layout
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle


def test_an_undisturbed_vehicle_has_no_faults_on_any_floor(tractor: Layout, combination: Layout) -> None:
    for layout, wheelbase_m in ((tractor, 3.7), (combination, 3.9)):  # computed by hand: mean of 3.2 and 4.6 is 3.9
        drawn = SimulatedVehicle.build(layout, 7, faults=PlantedFaults(deviations=0)).truth()
        # caster 3 and kingpin 6 degrees are built in, and how far the wheels are turned in a sweep is drawn
        wheel = (".caster.", ".kpi.", ".turn.", ".toe-out-on-turns.", ".ackermann.")
        truth = {key: value for key, value in drawn.items() if not any(part in key for part in wheel)}
        built_in = {"caster": 3.0, "kpi": 6.0}
        for key, value in drawn.items():
            quantity, _, side = key.split(".", 2)[2].partition(".")
            if quantity in built_in:
                assert math.degrees(value) == pytest.approx(0.0 if side == "difference" else built_in[quantity])
        nominal = {key: wheelbase_m if key.endswith(("wheelbase.left", "wheelbase.right")) else 0.0 for key in truth}
        assert truth == pytest.approx(nominal, abs=1e-12, rel=0)
        assert sorted(nominal.values())[-1] == wheelbase_m


def test_frame_reference_by_hand(tractor: Layout) -> None:
    faults = PlantedFaults(
        deviations=0,
        yaw_deg={"tractor.drive": 0.4, "tractor.steer": -0.1},
        offset_mm={"tractor.drive": 12.0},
        toe_deg={"tractor.steer": 0.2},
        steering_deg={"tractor.steer": -0.5},
    )
    truth = SimulatedVehicle.build(tractor, 7, faults=faults).truth()
    degrees = {key.removeprefix("tractor."): math.degrees(value) for key, value in truth.items()}
    assert degrees["drive.squareness"] == pytest.approx(0.4)
    assert degrees["drive.thrust"] == pytest.approx(0.4)
    assert truth["tractor.drive.offset"] == pytest.approx(0.012)
    assert degrees["steer.squareness"] == pytest.approx(-0.1)
    assert degrees["steer.toe.total"] == pytest.approx(0.2)
    assert degrees["steer.toe.left"] == pytest.approx(0.6)
    assert degrees["steer.toe.right"] == pytest.approx(-0.4)
    assert degrees["steer.steering"] == pytest.approx(-0.5)
    # computed by hand: 1016 (sin 0.6 - sin 0.4 degrees) = 3.5464 mm
    assert truth["tractor.steer.toe.length"] == pytest.approx(0.0035464, abs=1e-7)
    # computed by hand: 3700 +- (1040 sin 0.1 + 915 sin 0.4): a left end that goes rearward lengthens the left side
    reach_m = 1.040 * math.sin(math.radians(0.1)) + 0.915 * math.sin(math.radians(0.4))
    assert truth["tractor.drive.wheelbase.left"] == pytest.approx(3.7 + reach_m)
    assert truth["tractor.drive.wheelbase.difference"] == pytest.approx(2 * reach_m)


def test_group_results_by_hand(combination: Layout) -> None:
    faults = PlantedFaults(deviations=0, yaw_deg={"truck.drive1": 0.1, "truck.drive2": 0.3})
    truth = SimulatedVehicle.build(combination, 7, faults=faults).truth()
    assert math.degrees(truth["truck.drive1.thrust"]) == pytest.approx(0.2)
    assert math.degrees(truth["truck.drive2.parallelism"]) == pytest.approx(0.2)
    # computed by hand: 2 * 900 (sin 0.3 - sin 0.1 degrees) = 6.2832 mm, left longer
    assert truth["truck.drive2.spacing"] == pytest.approx(0.0062831, abs=1e-6)
    assert "truck.steer.offset" not in truth


def test_two_steer_axles_by_hand() -> None:
    faults = PlantedFaults(
        deviations=0,
        yaw_deg={"truck.steer2": 0.2},
        steering_deg={"truck.steer1": 0.1, "truck.steer2": -0.2},
        toe_deg={"truck.steer2": 0.2},
    )
    truth = SimulatedVehicle.build(load_layout("rigid-8x4"), 7, faults=faults).truth()
    by_hand = {
        "steer2.parallelism": 0.2, "steer2.steering.difference": -0.3, "steer1.steering": 0.1, "steer2.steering": -0.2,
        "steer2.toe.total": 0.2, "steer2.toe.left": 0.3, "steer2.toe.right": -0.1, "drive1.thrust": 0.0,
    }  # fmt: skip
    assert {key: math.degrees(truth[f"truck.{key}"]) for key in by_hand} == pytest.approx(by_hand, abs=1e-9)
    # wheel centres 1040 mm from the middle: the left one of the second axle goes back, away from the first
    assert truth["truck.steer2.spacing"] == pytest.approx(2 * 1.040 * math.sin(math.radians(0.2)))
    # by hand: from 0 to the mean of 5.2 and 6.57
    assert truth["truck.drive1.wheelbase.left"] == pytest.approx(5.885)


@pytest.mark.parametrize(("name", "axle"), [("rigid-6x2-tag", "tag"), ("rigid-6x2-pusher", "pusher")])
def test_tag_and_pusher_are_judged_against_the_drive_axle(name: str, axle: str) -> None:
    faults = PlantedFaults(deviations=0, yaw_deg={f"truck.{axle}": 0.3, "truck.drive": 0.1})
    truth = SimulatedVehicle.build(load_layout(name), 7, faults=faults).truth()
    assert math.degrees(truth["truck.drive.thrust"]) == pytest.approx(0.1)
    assert math.degrees(truth[f"truck.{axle}.parallelism"]) == pytest.approx(0.2)
    assert "truck.drive.parallelism" not in truth
    # by hand: place of the drive axle less that of the other, left minus right; nominally the same on both sides
    reach = 2 * (1.040 * math.sin(math.radians(0.3)) - 0.915 * math.sin(math.radians(0.1)))
    assert truth[f"truck.{axle}.spacing"] == pytest.approx(reach, abs=1e-6)
    assert truth["truck.drive.wheelbase.difference"] > 0


def test_a_steered_trailer_axle_is_measured_by_itself() -> None:
    faults = PlantedFaults(
        deviations=0,
        offset_mm={"trailer.axle3": 12.0},
        steering_deg={"trailer.axle3": 0.5},
        toe_deg={"trailer.axle3": -0.2},
        yaw_deg={"trailer.axle3": 0.1},
    )
    truth = SimulatedVehicle.build(load_layout("semitrailer-3axle-steered"), 7, faults=faults).truth()
    by_hand = {
        "axle1.squareness": 0.0, "axle1.squareness.own": 0.0, "axle2.squareness": 0.0, "axle3.squareness": 0.1,
        "axle3.steering": 0.5, "axle3.toe.total": -0.2, "axle3.toe.left": -0.6, "axle3.toe.right": 0.4,
    }  # fmt: skip
    assert {key: math.degrees(truth[f"trailer.{key}"]) for key in by_hand} == pytest.approx(by_hand, abs=1e-9)
    assert truth["trailer.axle3.offset"] == pytest.approx(0.012)
    assert not [key for key in truth if key.startswith("trailer.axle3.parallelism")]


def test_the_first_axle_has_its_own_line_to_the_pin() -> None:
    faults = PlantedFaults(deviations=0, offset_mm={"trailer.axle2": 20.0})
    truth = SimulatedVehicle.build(load_layout("semitrailer-2axle"), 7, faults=faults).truth()
    assert truth["trailer.axle1.squareness.own"] == pytest.approx(0.0, abs=1e-12)
    # by hand: the line to the middle of both axles points to the right by 10 mm over 8.355 m
    assert truth["trailer.axle1.squareness"] == pytest.approx(math.atan(10 / 8355))
    assert "trailer.axle1.squareness.own" not in SimulatedVehicle.build(load_layout("semitrailer-1axle"), 7).truth()


def test_references_follow_their_points(combination: Layout) -> None:
    faults = PlantedFaults(
        deviations=0,
        offset_mm={"truck.drive1": 10, "truck.drive2": 10, "trailer.axle1": 10.0, "trailer.axle2": 10.0},
    )
    truth = SimulatedVehicle.build(combination, 7, faults=faults).truth()
    # computed by hand: the rear group lies 10 mm to the left, so the line points right by 10/3900 and 10/7700,
    # and square axles are turned left against it
    assert truth["truck.drive1.squareness"] == pytest.approx(math.atan(10 / 3900))
    assert truth["truck.steer.steering"] == pytest.approx(math.atan(10 / 3900))
    assert truth["trailer.axle1.squareness"] == pytest.approx(math.atan(10 / 7700))
    assert truth["trailer.axle1.offset"] == pytest.approx(0.7 * math.sin(math.atan(10 / 7700)), rel=1e-6)
    assert truth["trailer.axle2.offset"] == pytest.approx(-truth["trailer.axle1.offset"])
    assert not [key for key in truth if key.startswith("trailer") and ("wheelbase" in key or "thrust" in key)]
