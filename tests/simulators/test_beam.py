from __future__ import annotations

import math

import numpy as np
import pytest

from axledger.contract.errors import BadInput
from axledger.job.layout import BoxSolid, Layout, Solid, TyreSolid
from axledger_simulators.beam import distance_to_solid, reading_m, trace
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

_STRAIGHT = PlantedFaults(deviations=0, settings=0, unevenness=0)
_TYRE = TyreSolid(kind="tyre", name="tyre D1 left", x_m=-3.7, z_m=0.49, radius_m=0.52, y_m=(0.597, 1.233))
_FRONT_TYRE = TyreSolid(kind="tyre", name="tyre S1 left", x_m=0.0, z_m=0.49, radius_m=0.52, y_m=(0.885, 1.195))
_BOX = BoxSolid(kind="box", name="tank", x_m=(-2, -1), y_m=(0.5, 1.0), z_m=(0.3, 0.9))


def _with(layout: Layout, *solids: Solid) -> SimulatedVehicle:
    unit = layout.unit[0].model_copy(update={"solid": solids})
    return SimulatedVehicle.build(layout.model_copy(update={"unit": (unit,)}), 5, faults=_STRAIGHT)


def test_a_clear_beam_reads_the_distance_between_the_stations(tractor: Layout) -> None:
    vehicle = _with(tractor, _TYRE, _FRONT_TYRE, _BOX)
    for start, end in (("S1Lr", "D1Lh"), ("S1Lf", "S1Rf"), ("D1Lh", "S1Lh"), ("S1Lr", "D1Ri"), ("F0L", "D1Lh")):
        expected = np.linalg.norm(vehicle.place(start) - vehicle.place(end))
        assert trace(vehicle, start, end).what == end
        assert reading_m(vehicle, start, end) == pytest.approx(expected, abs=1e-12)


def test_a_tyre_in_the_way_reads_the_tyre(tractor: Layout) -> None:
    hit = trace(_with(tractor, _TYRE, _FRONT_TYRE), "S1Lf", "D1Ri")
    assert hit.what == "tyre S1 left"
    assert hit.distance_m < 0.6


def test_the_front_of_a_tyre_is_a_circle() -> None:
    # computed by hand: at 150 mm height the tyre (axle at 490, radius 520) starts sqrt(520^2 - 340^2) = 393.446 mm
    # before its axle
    ahead = distance_to_solid(_TYRE, np.array([0.0, 0.9, 0.15]), np.array([-1.0, 0.0, 0.0]))
    assert ahead == pytest.approx(3.7 - 0.393446, abs=1e-6)
    across = distance_to_solid(_TYRE, np.array([-3.7, -0.403, 0.15]), np.array([0.0, 1.0, 0.0]))
    assert across == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("here", "direction"),
    [
        ((0.0, 1.3, 0.15), (-1.0, 0.0, 0.0)),  # beside it
        ((0.0, 0.9, 0.15), (1.0, 0.0, 0.0)),  # behind the meter
        ((0.0, 0.9, 1.50), (-1.0, 0.0, 0.0)),  # above it
        ((-3.0, 0.0, 0.49), (0.0, 1.0, 0.0)),  # past its tread
    ],
)
def test_beams_that_miss_a_tyre(here: tuple[float, float, float], direction: tuple[float, float, float]) -> None:
    assert distance_to_solid(_TYRE, np.array(here), np.array(direction)) is None


def test_a_box_is_entered_at_its_near_face() -> None:
    down_into = np.array([-1.0, 0.0, 1.0]) / math.sqrt(2)
    assert distance_to_solid(_BOX, np.array([0.0, 0.7, 0.4]), np.array([-1.0, 0.0, 0.0])) == pytest.approx(1.0)
    assert distance_to_solid(_BOX, np.array([-0.8, 0.7, 0.4]), down_into) == pytest.approx(0.2 * math.sqrt(2))
    assert distance_to_solid(_BOX, np.array([0.0, 0.7, 0.2]), np.array([-1.0, 0.0, 0.0])) is None


def test_a_plate_between_is_hit_unless_folded(combination: Layout) -> None:
    vehicle = SimulatedVehicle.build(combination, 5, faults=_STRAIGHT)
    assert trace(vehicle, "D2Lh", "S1Lh").what == "D1Lh"
    assert reading_m(vehicle, "D2Lh", "S1Lh") == pytest.approx(1.4, abs=1e-3)
    assert trace(vehicle, "D2Lh", "S1Lh", folded=["D1Lh"]).what == "S1Lh"


def test_a_beam_past_its_target_goes_on_to_a_solid_or_the_wall(tractor: Layout) -> None:
    assert trace(_with(tractor), "S1Lf", "S1Rf", past=True, wall_m=6.5).distance_m == 6.5
    behind = BoxSolid(kind="box", name="bench", x_m=(0, 2), y_m=(-3.0, -2.0), z_m=(0, 1))
    hit = trace(_with(tractor, behind), "S1Lf", "S1Rf", past=True)
    assert hit.what == "bench"
    assert hit.distance_m == pytest.approx(2.0 + 1.265, abs=1e-9)


@pytest.mark.parametrize(("start", "end"), [("S1Lf", "T1Lh"), ("K", "K")])
def test_no_shot_between_units_or_onto_itself(combination: Layout, start: str, end: str) -> None:
    with pytest.raises(BadInput, match="no distance"):
        reading_m(SimulatedVehicle.build(combination, 5), start, end)
