from __future__ import annotations

import numpy as np
import pytest

from axledger.job.layout import Layout
from axledger.job.library import load_layout
from axledger.job.plan import Shot, plan_shots
from axledger_simulators.beam import trace
from axledger_simulators.blunders import Blunder, Planted, plant
from axledger_simulators.slips import EDGE_M
from axledger_simulators.vehicle import SimulatedVehicle


@pytest.fixture(scope="module")
def layout() -> Layout:
    return load_layout("tractor-4x2")


@pytest.fixture
def vehicle(layout: Layout) -> SimulatedVehicle:
    return SimulatedVehicle.build(layout, 6)


def _planted(blunder: Blunder, vehicle: SimulatedVehicle, lot: int = 2) -> tuple[Planted, dict[str, Shot]]:
    shots = plan_shots(vehicle.layout)
    planted = plant(blunder, vehicle, shots, np.random.default_rng(lot))
    assert planted is not None
    return planted, {shot.id: shot for shot in shots}


def _error_m(vehicle: SimulatedVehicle, shot: Shot, planted: Planted) -> float:
    slip = planted.instead[shot.id]
    beam = trace(vehicle, slip.start or shot.start, slip.end, folded=shot.fold, past=slip.past, wall_m=slip.wall_m)
    return slip.reading_m(beam.distance_m) - trace(vehicle, shot.start, shot.end, folded=shot.fold).distance_m


@pytest.mark.parametrize("blunder", list(Blunder))
def test_every_kind_finds_its_shots_and_repeats_with_its_lot(blunder: Blunder, vehicle: SimulatedVehicle) -> None:
    planted, shots = _planted(blunder, vehicle)
    assert planted == _planted(blunder, vehicle)[0]
    assert planted.blunder is blunder
    assert planted.names
    assert set(planted.shots) <= set(shots)
    assert all(shots[name].kind == "distance" for name in planted.shots)
    assert (planted.move is None) == bool(planted.instead)


@pytest.mark.parametrize(
    ("blunder", "low_m", "high_m"),
    [
        (Blunder.PAST, 0.29, 3.01), (Blunder.UNIT, 1.0, 20.0), (Blunder.EDGE, EDGE_M, EDGE_M),
        (Blunder.MISREAD_SMALL, 0.004, 0.007), (Blunder.MISREAD_LARGE, 0.0075, 0.249),
    ],
)  # fmt: skip
def test_sizes_are_as_stated(blunder: Blunder, low_m: float, high_m: float, vehicle: SimulatedVehicle) -> None:
    for lot in range(15):
        planted, shots = _planted(blunder, vehicle, lot)
        error_m = abs(_error_m(vehicle, shots[planted.shots[0]], planted))
        assert low_m - 1e-9 <= error_m <= high_m + 1e-9


def test_an_exchanged_pair_is_two_mirrored_lines_each_read_for_the_other(vehicle: SimulatedVehicle) -> None:
    planted, shots = _planted(Blunder.SWAP_PAIR, vehicle)
    first, second = (shots[name] for name in planted.shots)
    slip = planted.instead[first.id]
    assert {slip.start, slip.end} == {second.start, second.end}
    assert _error_m(vehicle, first, planted) == pytest.approx(-_error_m(vehicle, second, planted), abs=1e-12)


def test_a_run_from_the_wrong_edge_lasts_to_the_end_of_the_walk(vehicle: SimulatedVehicle) -> None:
    planted, shots = _planted(Blunder.EDGE_RUN, vehicle)
    walk = [name for name, shot in shots.items() if shot.kind == "distance"]
    assert planted.shots == tuple(walk[walk.index(planted.shots[0]) :])
    assert planted.shots[0] != walk[0]


def test_a_moved_target_moves_between_two_of_its_shots(vehicle: SimulatedVehicle) -> None:
    planted, shots = _planted(Blunder.TARGET_MOVED, vehicle)
    move = planted.move
    assert move is not None
    its = [name for name, shot in shots.items() if move.target in shot.targets]
    assert move.before == planted.shots[0]
    assert move.before in its[1:]
    before = vehicle.hung(move.target).along_m, vehicle.hung(move.target).across_m
    move.happen(vehicle)
    after = vehicle.hung(move.target).along_m, vehicle.hung(move.target).across_m
    assert 0.003 <= max(abs(new - old) for new, old in zip(after, before, strict=True)) <= 0.015


def test_a_vehicle_that_moves_changes_lines_between_frame_and_axle_alone(vehicle: SimulatedVehicle) -> None:
    planted, _ = _planted(Blunder.VEHICLE_MOVED, vehicle)
    assert planted.move is not None
    lines = (("F0L", "D1Lh"), ("D1Lh", "S1Lh"), ("F0L", "F2R"))

    def lengths() -> list[float]:
        return [float(np.linalg.norm(vehicle.place(a) - vehicle.place(b))) for a, b in lines]

    before = lengths()
    planted.move.happen(vehicle)
    to_frame, along_axles, along_frame = (abs(new - old) for new, old in zip(lengths(), before, strict=True))
    assert to_frame > 1e-4
    assert along_axles < 1e-9
    assert along_frame < 1e-12


def test_a_neighbour_that_is_a_shot_of_the_walk_may_be_called_both() -> None:
    vehicle = SimulatedVehicle.build(load_layout("semitrailer-2axle"), 3)
    names = [
        planted.names
        for lot in range(10)
        if (planted := plant(Blunder.NEIGHBOUR, vehicle, plan_shots(vehicle.layout), np.random.default_rng(lot)))
    ]
    assert all("neighbour" in one for one in names)
    assert any("other shot" in one for one in names)


def test_no_neighbour_where_there_is_none() -> None:
    vehicle = SimulatedVehicle.build(load_layout("semitrailer-1axle"), 3)
    assert plant(Blunder.NEIGHBOUR, vehicle, plan_shots(vehicle.layout), np.random.default_rng(1)) is None
