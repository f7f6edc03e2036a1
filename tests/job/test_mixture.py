from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from axledger.job.in_force import InForce, Known
from axledger.job.layout import Layout
from axledger.job.library import load_layout
from axledger.job.mixture import Gate
from axledger.job.plan import Chosen, plan_shots
from axledger.job.proof import lines_of
from axledger.job.settings import MountKind
from axledger.job.solution import Observation, Solution, Solver
from axledger_simulators.beam import trace
from axledger_simulators.kit import inclinometer_record, meter_record
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

METER, TILT = meter_record("meter", "test:1"), inclinometer_record("tilt", "test:2")
LAYOUT = load_layout("semitrailer-2axle")


def observed(
    layout: Layout, seed: int, faults: PlantedFaults | None = None, *, turns: bool = True
) -> list[Observation]:
    vehicle, meter = SimulatedVehicle.build(layout, seed, faults=faults), DistanceMeter(seed, form="metre-line-fine")
    shots = plan_shots(layout, chosen=Chosen(turns=turns))
    readings: list[Observation] = []
    for shot, line in zip(shots, lines_of(shots).values(), strict=True):
        for target in shot.turn:
            vehicle.turn(target)
        for _ in range(2):
            if shot.kind == "tilt":
                readings.append(Observation(line, vehicle.inclination(shot.start, shot.tilt)))
            else:
                true_m = trace(vehicle, shot.start, shot.end, folded=shot.fold).distance_m
                readings.append(Observation(line, meter.measure(true_m)))
    return readings


def solved(readings: list[Observation], in_force: InForce | None = None, *, careful: bool = True) -> Solution:
    return Solver(LAYOUT, None, METER, TILT, in_force).solve(readings, [], careful=careful)


def test_bad_settings_widen_the_results_and_good_ones_do_not() -> None:
    """Over many jobs: the mean widening against settings that are believed; both from the same readings."""
    widening: dict[float, float] = {}
    for factor in (1.0, 3.0):
        ratios: list[float] = []
        for seed in range(12):
            readings = observed(LAYOUT, seed, PlantedFaults(settings=factor))
            pairs = zip(solved(readings).results, solved(readings, InForce.believed()).results, strict=True)
            ratios += [own.u95 / believed.u95 for own, believed in pairs if own.u95 and believed.u95]
        widening[factor] = float(np.mean(ratios))
    assert 1.0 < widening[1.0] < 1.4
    assert widening[3.0] > 1.5


def test_settings_that_are_believed_give_the_plain_adjustment() -> None:
    solution = solved(observed(LAYOUT, 3), InForce.believed())
    for result in solution.results:
        assert result.u is not None
        assert result.u95 == pytest.approx(1.959964 * result.u, rel=1e-4)  # 97.5 % point of the normal, any table
        assert result.value is not None
        assert result.u95 is not None
        assert result.low == pytest.approx(result.value - result.u95, rel=1e-9, abs=1e-12)


def test_shares_add_up_and_name_the_kind_that_matters() -> None:
    for result in solved(observed(LAYOUT, 3)).results:
        assert sum(result.shares.values()) == pytest.approx(1.0)
        assert min(result.shares.values()) >= 0.0
    by_key = {result.key.split(".", 1)[1]: result for result in solved(observed(LAYOUT, 3)).results}
    assert by_key["axle2.parallelism"].weakest.startswith("hub.")
    assert by_key["axle1.offset"].weakest.startswith("inboard.")
    assert by_key["axle1.offset"].shares["inboard"] > 0.5


def test_what_a_screen_shows_meanwhile_is_near_what_is_stated() -> None:
    readings = observed(LAYOUT, 4)
    for live, stated in zip(solved(readings, careful=False).results, solved(readings).results, strict=True):
        assert live.u95 == pytest.approx(stated.u95, rel=0.05)
        assert live.value == pytest.approx(stated.value, abs=0.1 * (stated.u or 0.0))


def test_bad_settings_are_no_contradiction_and_a_slip_is() -> None:
    assert not any(solved(observed(LAYOUT, seed, PlantedFaults(settings=3.0))).contradicts for seed in range(5))
    readings = observed(LAYOUT, 1)
    spoiled = [*readings[:-1], Observation(readings[-1].line, readings[-1].value_si + 0.05)]
    assert solved(spoiled).contradicts


def known(bias_mm: float) -> Known:
    return Known(bias_mm=bias_mm, u_mm=0.13, reference_mm=bias_mm, reference_u_mm=0.13, count=5)


def true_biases_mm(seed: int, faults: PlantedFaults) -> dict[str, float]:
    """The mean of a target's errors in both states is what does not turn with it; half the difference is its bias."""
    biases: dict[str, float] = {}
    for place in ("T1Lh", "T1Rh", "T2Lh", "T2Rh"):
        target = SimulatedVehicle.build(LAYOUT, seed, faults=faults).hung(place)
        before = target.along_m - target.seating_m
        target.turn()
        biases[place] = (before - (target.along_m - target.seating_m)) / 2 * 1e3
    return biases


def test_known_targets_narrow_the_results_of_a_job_without_turns() -> None:
    """With turns every line is seen in both states, and what is known of a bias adds nothing at believed factors."""
    faults = PlantedFaults()
    targets = {place: known(bias) for place, bias in true_biases_mm(5, faults).items()}
    readings = observed(LAYOUT, 5, faults, turns=False)
    # the factors believed in both, for they move with what the job happens to show
    plain, with_history = (
        solved(readings, InForce.believed()),
        solved(readings, replace(InForce.believed(), targets=targets)),
    )
    narrowed = [a.u / b.u for a, b in zip(with_history.results, plain.results, strict=True) if a.u and b.u]
    assert max(narrowed) <= 1.0 + 1e-6
    assert min(narrowed) < 0.8
    turned = solved(observed(LAYOUT, 5, faults), InForce(targets=targets))
    assert turned.gate.fits
    assert 1 <= turned.gate.freedom <= 4  # as many directions as the readings say something of


def test_a_history_that_does_not_fit_is_left_out() -> None:
    in_force = InForce(targets={place: known(4.0 + bias) for place, bias in true_biases_mm(5, PlantedFaults()).items()})
    readings = observed(LAYOUT, 5)
    gated = solved(readings, in_force)
    assert not gated.gate.fits
    assert [r.value for r in gated.results] == [r.value for r in solved(readings).results]


def test_while_lines_are_open_the_history_is_not_judged() -> None:
    in_force = InForce(targets={"T1Lh": known(4.0)})
    readings = observed(LAYOUT, 5)
    lines = [reading.line for reading in readings]
    solution = Solver(LAYOUT, None, METER, TILT, in_force).solve(readings[:-2], lines, careful=False)
    assert solution.gate.freedom == 0
    assert solution.gate.fits


@pytest.mark.parametrize("freedom", [1, 4, 12])
def test_the_gate_is_the_99_percent_point_of_chi_squared(freedom: int) -> None:
    point = float(chi2.ppf(0.99, freedom))  # scipy; the gate's approximation is good to some per cent
    assert Gate(0.97 * point, freedom).fits
    assert not Gate(1.03 * point, freedom).fits
    assert Gate().fits


def test_a_factor_known_beforehand_is_taken_into_the_network() -> None:
    in_force = InForce(weights={MountKind.HUB: (0, 0, 0, 1, 0, 0)})  # twice as bad beyond doubt
    model = solved(observed(LAYOUT, 5), in_force).model
    index = model.names.index("trailer.T1Lh.bias")
    assert model.prior_sd[index] == pytest.approx(0.8e-3)  # twice the stated 0.40 mm
    assert model.settings[index].scaled
    plain = solved(observed(LAYOUT, 5)).model
    assert plain.prior_sd[index] == pytest.approx(0.4e-3)
    assert math.isclose(model.prior_sd[model.names.index("trailer.T1.hub.span")], 5e-3)  # no setting: it keeps its own
