from __future__ import annotations

import math

import numpy as np
import pytest

from axledger.geometry.conformity import Verdict
from axledger.job.in_force import InForce
from axledger.job.layout import Layout
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.model import Sight, Tilt
from axledger.job.plan import plan_shots
from axledger.job.proof import lines_of
from axledger.job.solution import Line, Observation, Solver
from axledger_simulators.beam import trace
from axledger_simulators.kit import inclinometer_record, meter_record
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.vehicle import SimulatedVehicle

METER, TILT = meter_record("meter", "test:1"), inclinometer_record("tilt", "test:2")


def observed(layout: Layout, seed: int = 3, repeats: int = 2) -> list[Observation]:
    vehicle, meter = SimulatedVehicle.build(layout, seed), DistanceMeter(seed, form="metre-line-fine")
    shots = plan_shots(layout)
    readings: list[Observation] = []
    for shot, line in zip(shots, lines_of(shots).values(), strict=True):
        for target in shot.turn:
            vehicle.turn(target)
        for _ in range(repeats):
            if shot.kind == "tilt":
                readings.append(Observation(line, vehicle.inclination(shot.start, shot.tilt)))
            else:
                true_m = trace(vehicle, shot.start, shot.end, folded=shot.fold).distance_m
                readings.append(Observation(line, meter.measure(true_m)))
    return readings


def solver(name: str = "semitrailer-2axle", limits: str | None = "example-fleet") -> Solver:
    return Solver(load_layout(name), load_limit_sheet(limits) if limits else None, METER, TILT)


def test_a_solution_does_not_depend_on_what_was_solved_before() -> None:
    readings = observed(load_layout("semitrailer-2axle"))
    fresh, used = solver(), solver()
    used.solve(readings[:9], [])
    used.solve(readings[:20], [Sight("K", "T1Lh", 5, 5)])
    used.forecast([Sight("K", "T1Rh", 7, 7)])
    first, second = fresh.solve(readings, []), used.solve(readings, [])
    assert first.adjusted.x.tobytes() == second.adjusted.x.tobytes()
    assert first.results == second.results


def test_the_order_in_which_lines_are_planned_does_not_matter() -> None:
    readings = observed(load_layout("semitrailer-2axle"))[:10]
    lines: list[Line] = list(lines_of(plan_shots(load_layout("semitrailer-2axle"))).values())
    one, other = solver().solve(readings, lines), solver().solve(readings, lines[::-1])
    assert one.adjusted.x.tobytes() == other.adjusted.x.tobytes()


def test_planned_lines_change_no_result_beyond_rounding() -> None:
    readings = observed(load_layout("semitrailer-2axle"))
    with_plan = solver().solve(readings, [Sight("K", "T2Rh", 4, 4)])
    without = solver().solve(readings, [])
    for one, other in zip(with_plan.results, without.results, strict=True):
        assert one.value == pytest.approx(other.value, abs=1e-9)
        assert one.u == pytest.approx(other.u, rel=1e-9)


def test_with_no_reading_nothing_is_determined_and_predictions_are_the_layouts() -> None:
    line = Sight("K", "T1Lh")
    solution = solver("semitrailer-1axle").solve([], [line, Tilt("trailer", "along")])
    (result,) = solution.results
    assert (result.value, result.u, result.verdict, result.probability) == (None, None, Verdict.UNDETERMINED, None)
    assert math.degrees(result.forecast_u) == pytest.approx(1.0, rel=0.01)
    expected = solution.predict(line)
    assert expected.value_si == pytest.approx(math.sqrt(8.0**2 + 1.332**2), abs=1e-9)
    assert 0.04 < expected.sd_si < 0.08
    assert not solution.contradicts


def test_a_prediction_narrows_with_readings() -> None:
    layout = load_layout("semitrailer-1axle")
    readings = observed(layout)
    second_look = readings[-1].line
    before = solver("semitrailer-1axle").solve(readings[:8], [second_look]).predict(second_look)
    after = solver("semitrailer-1axle").solve(readings[:-2], [second_look]).predict(second_look)
    assert after.sd_si < 0.1 * before.sd_si
    assert abs(after.value_si - readings[-1].value_si) < 4 * after.sd_si


def test_results_are_judged_by_the_sheet() -> None:
    solution = solver().solve(observed(load_layout("semitrailer-2axle")), [])
    by_key = {result.key: result for result in solution.results}
    result = by_key["trailer.axle1.squareness"]
    assert result.lower is not None
    assert result.upper is not None
    assert result.source
    assert result.verdict not in (Verdict.UNDETERMINED, Verdict.NO_LIMIT)
    assert result.probability is not None
    assert result.zone_left is not None
    unjudged = solver(limits=None).solve(observed(load_layout("semitrailer-2axle")), [])
    assert {r.verdict for r in unjudged.results} == {Verdict.NO_LIMIT}
    assert [r.value for r in unjudged.results] == [r.value for r in solution.results]


def test_a_result_less_certain_than_the_layout_allows_is_not_shown() -> None:
    layout = load_layout("semitrailer-1axle").model_copy(update={"most_u_deg": 0.001})
    (result,) = Solver(layout, None, METER, TILT).solve(observed(layout), []).results
    assert (result.value, result.verdict) == (None, Verdict.UNDETERMINED)
    assert math.degrees(result.forecast_u) < 0.03


def test_what_only_the_layout_says_is_never_a_result() -> None:
    """However wide a layout lets uncertainties be: the readings have to halve what was known without them."""
    layout = load_layout("semitrailer-1axle").model_copy(update={"most_u_deg": 10.0})
    level = [one for one in observed(layout) if isinstance(one.line, Tilt)]
    (result,) = Solver(layout, None, METER, TILT).solve(level, []).results
    assert (result.value, result.verdict) == (None, Verdict.UNDETERMINED)
    assert math.degrees(result.forecast_u) < 10.0


def test_readings_that_cannot_all_be_right_are_said_to_contradict() -> None:
    readings = observed(load_layout("semitrailer-2axle"))
    assert not solver().solve(readings, []).contradicts
    spoiled = [
        Observation(one.line, one.value_si + 0.05) if number == len(readings) - 1 else one
        for number, one in enumerate(readings)
    ]
    assert solver().solve(spoiled, []).contradicts


def test_a_parameter_is_known_by_name() -> None:
    solution = solver().solve(observed(load_layout("semitrailer-2axle")), [])
    zero = solution.parameter("meter.length.zero")
    assert zero is not None
    assert 0 < zero[1] < 0.001
    assert solution.parameter("nobody.length.zero") is None


def test_the_forecast_is_the_uncertainty_that_readings_then_have() -> None:
    readings = observed(load_layout("semitrailer-2axle"))
    layout = load_layout("semitrailer-2axle")
    results, redundancy = Solver(layout, None, METER, TILT, InForce.believed()).forecast([one.line for one in readings])
    solution = Solver(layout, None, METER, TILT, InForce.believed()).solve(readings, [])
    for expected, got in zip(results, solution.results, strict=True):
        assert expected.forecast_u == pytest.approx(got.forecast_u, rel=0.02)
    assert np.all((redundancy > 0) & (redundancy < 1))
