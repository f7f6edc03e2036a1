"""Moves made at a simulated vehicle: exact beams against the advice's formulas, and whole jobs worked upon."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from axledger.contract.errors import UnknownName
from axledger.contract.quantity import Quantity
from axledger.job.layout import Layout
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.moves import Move
from axledger.job.opening import enrol, open_job
from axledger.job.run import JobRun
from axledger.job.wiring import sources_of
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.clock import VirtualClock
from axledger_simulators.demo import void
from axledger_simulators.inclinometer import Inclinometer
from axledger_simulators.kit import Kit
from axledger_simulators.mending import Mended, make_move, mend, mended_share, truly_inside, within_reach
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.peers.direct_port import DirectPort, direct_supervisors
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.technician import Technician
from axledger_simulators.vehicle import SimulatedVehicle


def move(adjuster: str, *, end: str = "", mm: float, axle: str, unit: str = "tractor") -> Move:
    return Move(
        adjuster=f"{unit}.{adjuster}", unit=unit, axle=axle, axle_name="", end=end, way="", amount_mm=abs(mm),
        signed_mm=mm, steps=None, turns=None, words="",
    )  # fmt: skip


def straight(name: str = "tractor-4x2") -> SimulatedVehicle:
    return SimulatedVehicle.build(load_layout(name), 1, faults=PlantedFaults(deviations=0.0))


@pytest.mark.parametrize(
    ("one", "key", "expected", "slack"),
    [
        # by hand: mounts 0.81 m apart, left end 6 mm forward
        (move("drive-shift", end="left", mm=6.0, axle="D1"), "drive.squareness", -math.atan(6.0 / 810), 4e-4),
        (move("drive-shift", end="right", mm=6.0, axle="D1"), "drive.squareness", math.atan(6.0 / 810), 4e-4),
        (move("drive-lateral", mm=5.0, axle="D1"), "drive.offset", 0.005, 4e-4),
        (move("steer-tie-rod", mm=1.5, axle="S1"), "steer.toe.right", math.asin(1.5 / 190), 8e-4),
        (move("steer-drag-link", mm=1.5, axle="S1"), "steer.steering", math.asin(1.5 / 220), 7e-4),
    ],
)
def test_a_move_does_what_it_says_but_for_a_person_s_error(one: Move, key: str, expected: float, slack: float) -> None:
    vehicle = straight()
    before = vehicle.truth()[f"tractor.{key}"]
    make_move(vehicle, one, np.random.default_rng(3))
    made = vehicle.truth()[f"tractor.{key}"] - before
    assert made == pytest.approx(expected, abs=slack)
    assert made != pytest.approx(expected, abs=1e-9)


def test_a_strange_adjuster_is_refused() -> None:
    with pytest.raises(UnknownName, match="drive-lateral"):
        make_move(straight(), move("wing", mm=1.0, axle="D1"), np.random.default_rng(1))


def test_the_beam_keeps_its_length_about_the_mount_that_stays() -> None:
    vehicle = straight("semitrailer-1axle")
    before = vehicle.units["trailer"].truth.axles["T1"]
    make_move(vehicle, move("axle1-shift", end="left", mm=12.0, axle="T1", unit="trailer"), np.random.default_rng(1))
    after = vehicle.units["trailer"].truth.axles["T1"]
    # by hand: the right mount gives at most 3 % of the move, the middle comes forward by about half
    assert after.x_m - before.x_m == pytest.approx(0.006, abs=6e-4)
    right = [
        np.array([axle.x_m, axle.y_m]) - 0.68 * np.array([-math.sin(axle.yaw_rad), math.cos(axle.yaw_rad)])
        for axle in (before, after)
    ]
    assert float(np.linalg.norm(right[1] - right[0])) < 4e-4


Work = tuple[JobRun, SimulatedVehicle, Callable[[], None]]


@pytest.fixture
def work(tmp_path: Path) -> Iterator[Callable[..., Work]]:
    """Open a job on a simulated vehicle, measure it once, and return how to go on."""
    ledgers: list[Ledger] = []

    def opened(layout: Layout, seed: int, faults: PlantedFaults) -> Work:
        clock, ledger = VirtualClock(), Ledger.open(tmp_path / f"ledger{len(ledgers)}")
        ledgers.append(ledger)
        ports = [DirectPort(f"direct:{name}", clock) for name in ("meter", "inclinometer")]
        kit = Kit(
            meter=DistanceMeter(seed, form="metre-line-fine"), inclinometer=Inclinometer(seed), meter_peer=ports[0],
            inclinometer_peer=ports[1],
        )  # fmt: skip
        roles = {
            role: enrol(ledger, one, person="Ada", stamp=clock.now())
            for role, one in kit.instruments().items()
            if Quantity.LENGTH in one.quantities or Quantity.INCLINATION in one.quantities
        }
        job = open_job(
            ledger, layout, load_limit_sheet("example-fleet"), roles, stamp=clock.now(), person="Ada", repeats=2
        )
        run = JobRun(
            ledger, job, clock=clock, make_decoder=decoder_for, make_supervisor=direct_supervisors(*ports),
            person="Ada",
        )  # fmt: skip
        run.start(sources_of(run.fold))
        run.pump(0.0)
        clock.advance(5.0)
        vehicle = SimulatedVehicle.build(layout, seed, faults=faults)
        technician = Technician(vehicle=vehicle, kit=kit, pause=lambda seconds: void(clock.advance(seconds)))

        def measure() -> None:
            for _ in range(400):
                if run.fold.current() is None:
                    return
                technician.take(run.fold)
                run.pump(0.0)
                for number in technician.settle_held(run.fold):
                    run.act("accept", reading=number, reason="the same again")
            raise AssertionError("the job stands still")

        measure()
        return run, vehicle, measure

    yield opened
    for ledger in ledgers:
        ledger.close()


def test_a_skew_trailer_is_mended_and_the_ledger_tells_how(work: Callable[..., Any]) -> None:
    faults = PlantedFaults(yaw_deg={"trailer.axle": 0.5, "trailer.axle1": 0.5})
    run, vehicle, measure = work(load_layout("semitrailer-1axle"), 7, faults)
    assert within_reach(run.fold, vehicle)
    assert not truly_inside(run.fold, vehicle)
    mended = mend(run, vehicle, measure, seed=7)
    assert mended.inside[0] is False
    assert mended.inside[-1] is True
    assert mended.promised > 0.95
    assert sum(mended.moves) == len(run.fold.board.made) >= 1
    assert run.fold.board.round == 1 + len(mended.moves)
    run.stop()


def test_what_no_adjuster_reaches_is_known_to_be_out_of_reach(work: Callable[..., Any]) -> None:
    layout = load_layout("semitrailer-2axle")
    run, vehicle, measure = work(layout, 7, PlantedFaults(offset_mm={"trailer.axle1": 25.0}))
    assert not within_reach(run.fold, vehicle)
    mended = mend(run, vehicle, measure, seed=7, rounds=1)
    assert not mended.reachable
    assert mended.inside[-1] is False
    run.stop()


def test_a_straight_vehicle_is_left_alone(work: Callable[..., Any]) -> None:
    run, vehicle, measure = work(load_layout("semitrailer-1axle"), 3, PlantedFaults(deviations=0.0))
    mended = mend(run, vehicle, measure, seed=3)
    assert (mended.moves, mended.inside, mended.decidable, mended.reachable) == ((), (True,), (True,), True)
    run.stop()


def test_jobs_out_of_reach_do_not_count() -> None:
    def job(*, reachable: bool, inside: bool, decidable: bool) -> Mended:
        return Mended(
            reachable=reachable, inside=(False, inside), decidable=(False, decidable), moves=(1,), promised=0.9
        )

    jobs = [
        job(reachable=True, inside=True, decidable=True),
        job(reachable=True, inside=False, decidable=True),
        job(reachable=False, inside=False, decidable=False),
    ]
    assert mended_share(jobs) == (2, 1, 2)
