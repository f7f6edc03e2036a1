from __future__ import annotations

import pytest

from axledger.job.in_force import InForce, Known, marks_of, targets_of
from axledger.job.layout import Layout
from axledger.job.learning import Learned, learned_from
from axledger.job.library import load_layout
from axledger.job.plan import plan_shots
from axledger.job.proof import lines_of
from axledger.job.settings import MountKind
from axledger.job.solution import Observation, Solver
from axledger_calibration.cusum import Sums
from axledger_simulators.beam import trace
from axledger_simulators.kit import inclinometer_record, meter_record
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

METER, TILT = meter_record("meter", "test:1"), inclinometer_record("tilt", "test:2")
LAYOUT = load_layout("semitrailer-2axle")
SIDES = {place: side for place, (_, side) in targets_of(LAYOUT).items()}
MARKS = marks_of(LAYOUT)
NO_SUMS = Sums()


def observed(layout: Layout, seed: int, faults: PlantedFaults, *, turns: bool = True) -> list[Observation]:
    """Readings without noise of their own: what is learned is then the settings alone."""
    vehicle = SimulatedVehicle.build(layout, seed, faults=faults)
    shots = plan_shots(layout)
    readings: list[Observation] = []
    for shot, line in zip(shots, lines_of(shots).values(), strict=True):
        if not turns and shot.turn:
            break
        for target in shot.turn:
            vehicle.turn(target)
        if shot.kind == "tilt":
            readings += 2 * [Observation(line, vehicle.inclination(shot.start, shot.tilt))]
        else:
            readings += 2 * [Observation(line, trace(vehicle, shot.start, shot.end, folded=shot.fold).distance_m)]
    return readings


def learned(faults: PlantedFaults, in_force: InForce | None = None, *, seed: int = 2, turns: bool = True) -> Learned:
    known = in_force or InForce(marks=MARKS)
    solution = Solver(LAYOUT, None, METER, TILT, known).solve(observed(LAYOUT, seed, faults, turns=turns), [])
    return learned_from(solution, known, SIDES)


def test_a_bent_target_shows_its_bend_and_the_others_none() -> None:
    straight = PlantedFaults(settings=0.0)
    bent = PlantedFaults(settings=0.0, bent_mm={"T1Lh": 1.0})
    assert all(abs(target.bias_mm) < 0.1 for target in learned(straight).targets.values())
    target = learned(bent).targets["T1Lh"]
    assert target.half_mm == pytest.approx(1.0, abs=0.1)
    # between the prior, zero, and the half difference
    assert 0.6 < target.bias_mm < 1.05
    assert target.half_u_mm is not None
    assert 0.15 < target.half_u_mm < 0.5
    assert target.u_mm < target.half_u_mm
    assert (target.mark, target.side, target.kind) == ("hub-1L", "L", MountKind.HUB)
    assert target.known is not None
    assert target.known.count == 1


def test_targets_that_were_not_turned_teach_no_bias() -> None:
    targets = learned(PlantedFaults(settings=0.0), turns=False).targets
    assert {target.half_mm for target in targets.values()} == {None}
    assert {target.known for target in targets.values()} == {None}


def test_weights_move_with_what_the_misclosures_say() -> None:
    good, bad = learned(PlantedFaults(settings=0.0)), learned(PlantedFaults(settings=4.0))
    for one in (good, bad):
        for kind in one.kinds.values():
            assert sum(kind.weights) == pytest.approx(1.0)
            assert sum(kind.carried) == pytest.approx(1.0)
    prior = InForce().weights_of(MountKind.HUB)
    assert good.kinds[MountKind.HUB].weights[0] > prior[0]
    assert bad.kinds[MountKind.HUB].weights[-1] > prior[-1]
    assert good.kinds[MountKind.HUB].factor < bad.kinds[MountKind.HUB].factor
    assert not good.kinds[MountKind.HUB].alarm
    assert bad.kinds[MountKind.HUB].alarm
    assert good.kinds[MountKind.HUB].seen == good.kinds[MountKind.HUB].freedom > 1.0


def history(reference_mm: float, sums: Sums = NO_SUMS) -> InForce:
    known = Known(bias_mm=reference_mm, u_mm=0.13, reference_mm=reference_mm, reference_u_mm=0.13, count=5, sums=sums)
    return InForce(targets={"T1Lh": known}, marks=MARKS)


def test_a_quiet_job_makes_the_reference_more_certain() -> None:
    target = learned(PlantedFaults(settings=0.0), history(0.0)).targets["T1Lh"]
    assert target.known is not None
    assert (target.known.count, target.alarm, target.was_known) == (6, False, True)
    assert target.known.reference_u_mm < 0.13


def test_a_bend_gives_the_alarm_and_puts_the_history_out_of_force() -> None:
    target = learned(PlantedFaults(settings=0.0, bent_mm={"T1Lh": 2.0}), history(0.0)).targets["T1Lh"]
    assert target.alarm
    assert target.known is None
    assert target.half_mm == pytest.approx(2.0, abs=0.15)


def test_a_doubtful_job_is_summed_and_does_not_move_the_reference() -> None:
    bent = PlantedFaults(settings=0.0, bent_mm={"T1Lh": 1.0})
    target = learned(bent, history(0.0)).targets["T1Lh"]
    assert target.known is not None
    assert target.known.sums.high > 1.0
    assert target.known.reference_mm == 0.0
    assert learned(bent, history(0.0, Sums(high=4.0))).targets["T1Lh"].alarm
