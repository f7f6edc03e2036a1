"""True wheels by rotation matrices: against the derived sweep, with run-out, floor and frame."""

from __future__ import annotations

import math

import numpy as np
import pytest

from axledger.contract.errors import UnknownName
from axledger.job.library import load_layout
from axledger.job.tilts import FRAME_TILT
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle
from axledger_simulators.wheels import WheelTruth, draw_wheels

LAYOUT = load_layout("tractor-4x2")
UNIT = LAYOUT.unit[0]
NAMED = {f"tractor.steer.{side}": value for side in ("left", "right") for value in (0.5,)}


def vehicle(**asked: object) -> SimulatedVehicle:
    faults = PlantedFaults(
        settings=0, unevenness=0, deviations=0, camber_deg=NAMED, toe_deg={"tractor.steer": 0.2},
        steering_deg={"tractor.steer": 0.0}, **{"slope_deg": (0.0, 0.0), **asked},  # type: ignore[arg-type]
    )  # fmt: skip
    return SimulatedVehicle.build(LAYOUT, 1, faults=faults)


@pytest.mark.parametrize("side", ["L", "R"])
def test_a_swept_wheel_shows_what_an_exact_turn_gives(side: str) -> None:
    """Derived: caster 3, kingpin 6, camber 0.5, toe-in 0.1 a wheel; both sides read alike, degrees."""
    standing = vehicle()
    at = f"S1{side}h"

    def read(tilt: str) -> float:
        return math.degrees(standing.inclination(at, tilt))

    assert read("face") == pytest.approx(0.5, abs=1e-9)
    out, inward = read("plate-out") - 0.1, -(read("plate-in") + 0.1)  # headings, from the vehicle's own line
    rows = [
        -math.tan(math.radians(6)) * math.cos(math.radians(face)) * math.cos(math.radians(d))
        + math.tan(math.radians(3)) * math.cos(math.radians(face)) * math.sin(math.radians(d))
        - math.sin(math.radians(face))
        for d, face in ((-0.1, read("face")), (out, read("face-out")), (inward, read("face-in")))
    ]
    # steering leaves the angle between spin axis and steering axis as it was
    assert rows[1] == pytest.approx(rows[0], abs=1e-12)
    assert rows[2] == pytest.approx(rows[0], abs=1e-12)
    assert read("level-out") > 0 > read("level-in")


def test_the_floor_acts_on_both_sides_oppositely() -> None:
    level, sloping = vehicle(), vehicle(slope_deg=(0.0, 1.0))
    for side, sign in (("L", -1.0), ("R", 1.0)):
        change = sloping.inclination(f"S1{side}h", "face") - level.inclination(f"S1{side}h", "face")
        assert math.degrees(change) == pytest.approx(sign, abs=0.01)


def test_run_out_is_reversed_by_half_a_wheel_turn() -> None:
    faults = PlantedFaults(unevenness=0, deviations=0, slope_deg=(0.0, 0.0), camber_deg=NAMED)
    standing = SimulatedVehicle.build(LAYOUT, 3, faults=faults)
    first, rolled = (math.degrees(standing.inclination("S1Lh", tilt)) for tilt in ("face", "face-rolled"))
    assert abs(first - rolled) > 0.01
    assert (first + rolled) / 2 == pytest.approx(0.5, abs=0.08)  # the instrument is laid on anew, sd 0.02


def test_the_frame_s_pitch_shows_on_the_frame() -> None:
    standing = SimulatedVehicle.build(LAYOUT, 2, faults=PlantedFaults(settings=0, slope_deg=(0.7, 0.0)))
    pitch = standing.truth()["tractor.frame.pitch"]
    assert abs(pitch) > 1e-4
    assert standing.inclination("F0L", FRAME_TILT) == pytest.approx(math.radians(0.7) - pitch, abs=1e-9)


def test_truth_holds_every_wheel_result() -> None:
    truth = vehicle().truth()
    assert math.degrees(truth["tractor.steer.caster.left"]) == pytest.approx(3.0)
    assert math.degrees(truth["tractor.steer.kpi.right"]) == pytest.approx(6.0)
    assert math.degrees(truth["tractor.drive.camber.difference"]) == pytest.approx(0.0)
    inner, outer = truth["tractor.steer.turn.left.out"], truth["tractor.steer.turn.right.in"]
    # cot outer - cot inner = pivots / wheelbase, where the wheels agree (derived)
    agreeing = math.atan(1 / (1 / math.tan(outer) - 1.73 / 3.7))
    assert truth["tractor.steer.ackermann.left"] == pytest.approx(inner - agreeing, abs=1e-12)


def test_a_planted_caster_is_there_and_other_draws_stay() -> None:
    drawn, _ = draw_wheels(UNIT, np.random.default_rng(5), PlantedFaults())
    planted, _ = draw_wheels(UNIT, np.random.default_rng(5), PlantedFaults(caster_deg={"tractor.steer.left": 4.5}))
    assert math.degrees(planted["S1", 1].caster_rad) == pytest.approx(4.5)
    assert planted["S1", -1] == drawn["S1", -1]
    assert isinstance(planted["D1", 1], WheelTruth)


def test_an_unknown_tilt_is_refused() -> None:
    with pytest.raises(UnknownName, match="face-sideways"):
        vehicle().inclination("S1Lh", "face-sideways")
    with pytest.raises(ValueError, match="not read at a wheel"):
        vehicle().inclination("F0L", "face")
