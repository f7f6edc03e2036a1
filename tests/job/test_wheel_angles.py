"""Wheel angles in a job's network, against the simulators' vehicle, which shares nothing with the solver."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.geometry.adjustment import Adjusted, Equations, adjust
from axledger.geometry.results import evaluate
from axledger.job.layout import Layout, Part, parse_layout
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.lines import Sight, Tilt
from axledger.job.model import LayoutPriors, Model, build_model
from axledger.job.plan import Chosen, plan_shots, tilts_at_wheels
from axledger.job.proof import lines_of, prove
from axledger.job.solution import Line, Observation, Solver
from axledger.job.wheel_angles import NO_LEVEL, WheelPriors, in_order
from axledger_simulators.beam import trace
from axledger_simulators.inclinometer import Inclinometer
from axledger_simulators.kit import inclinometer_record, meter_record, plates_record
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.turning_plates import TurningPlates
from axledger_simulators.vehicle import SimulatedVehicle

WITH_ALL = Chosen(parts=frozenset({"camber", "sweep"}))
METER, TILT, PLATES = (
    meter_record("meter", "test:1"),
    inclinometer_record("tilt", "test:2"),
    plates_record("plates", "x"),
)
SWEPT = ("tractor-4x2", "tractor-6x4", "rigid-6x4")
ABOUT_WHEELS = ("camber", "caster", "kpi", "turn", "toe-out", "ackermann", "pitch")


def exact(quantity: Quantity, sd: float = 1e-7) -> Instrument:
    record = QuantityRecord(repeatability=sd, resolution=0.0, u_zero=0.0)
    return Instrument(name=f"exact-{quantity.value}", profile="x", address="x", quantities={quantity: record})


def is_about_wheels(key: str) -> bool:
    return key.split(".", 2)[2].startswith(ABOUT_WHEELS)


def walked(vehicle: SimulatedVehicle, layout: Layout, chosen: Chosen = WITH_ALL) -> dict[Line, float]:
    """Walk the plan and return the errorless reading of every line."""
    shots = plan_shots(layout, chosen=chosen)
    readings: dict[Line, float] = {}
    for shot, line in zip(shots, lines_of(shots).values(), strict=True):
        for target in shot.turn:
            vehicle.turn(target)
        if shot.kind == "tilt":
            readings[line] = vehicle.inclination(shot.start, shot.tilt)
        else:
            readings[line] = trace(vehicle, shot.start, shot.end, folded=shot.fold).distance_m
    return readings


def solved(model: Model, readings: Mapping[Line, float]) -> Adjusted:
    lines: list[Line] = [*model.sights, *model.tilts]
    adjusted = adjust(
        Equations(
            predict=model.network.predict, observed=np.array([readings[line] for line in lines]), sd=model.sd,
            prior=model.prior, prior_sd=model.prior_sd,
        )
    )  # fmt: skip
    assert adjusted.converged
    assert adjusted.minimum
    return adjusted


def exact_model(layout: Layout, lines: list[Line], tilt_sd: float = 1e-7, plate_sd: float = 1e-7) -> Model:
    """Build the network of errorless readings with priors that pull by nothing."""
    loose = WheelPriors(
        camber_rad=10.0, caster_rad=10.0, kingpin_rad=10.0, run_out_rad=1e-9, level_rad=10.0, turn_rad=10.0,
        pitch_rad=10.0, seating_rad=0.0,
    )  # fmt: skip
    return build_model(
        layout,
        [line for line in lines if isinstance(line, Sight)],
        [line for line in lines if isinstance(line, Tilt)],
        meter=exact(Quantity.LENGTH),
        inclinometer=exact(Quantity.INCLINATION, tilt_sd),
        plate=exact(Quantity.INCLINATION, plate_sd),
        priors=LayoutPriors(100.0, 100.0, 10.0, 10.0, 10.0),
        wheel_priors=loose,
    )


@pytest.mark.parametrize("name", SWEPT)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_errorless_readings_give_the_truth(name: str, seed: int) -> None:
    layout = load_layout(name)
    vehicle = SimulatedVehicle.build(
        layout, seed, faults=PlantedFaults(settings=0, unevenness=0, slope_deg=(1.1, -0.9))
    )
    readings, truth = walked(vehicle, layout), vehicle.truth()
    model = exact_model(layout, list(readings))
    x = solved(model, readings).x
    found = {f.key: f.value.value for unit in model.units for f in evaluate(unit, x) if is_about_wheels(f.key)}
    assert len(found) >= 20
    assert found == pytest.approx({key: truth[key] for key in found}, abs=1e-6)


@cache
def noisy_results(name: str, seed: int) -> tuple[tuple[str, float], ...]:
    """Return each wheel result's deviation from the truth over its stated u, of a job with ordinary errors."""
    layout = load_layout(name)
    vehicle = SimulatedVehicle.build(layout, seed)
    meter, tilt, plates = DistanceMeter(seed, form="metre-line-fine"), Inclinometer(seed), TurningPlates(seed)
    resolution = 1e-4
    observations: list[Observation] = []
    for line, true in walked(vehicle, layout).items():
        for _ in range(2):
            if isinstance(line, Sight):
                value = round(meter.measure(true) / resolution) * resolution
            elif line.name.startswith("plate-"):
                value = math.radians(float(plates.shoot(true).split()[0]))
            else:
                value = math.radians(tilt.measure(true))
            observations.append(Observation(line, value))
    solver = Solver(layout, None, METER, TILT, plate=PLATES, offered=tilts_at_wheels(layout, WITH_ALL))
    truth = vehicle.truth()
    return tuple(
        (one.key, (one.value - truth[one.key]) / one.u)
        for one in solver.solve(observations, []).results
        if is_about_wheels(one.key) and one.value is not None and one.u is not None
    )


def test_stated_uncertainties_cover_the_truth() -> None:
    """Forty jobs, errors of another shape than the solver's; what one job states is correlated, hence the width."""
    off = np.array([value for seed in range(40) for _, value in noisy_results("tractor-4x2", seed)])
    assert len(off) == 40 * 21
    assert 0.92 < np.mean(np.abs(off) < 2.0) < 0.985
    assert 0.75 < np.mean(off**2) < 1.25


def camber_only(layout: Layout) -> Layout:
    """Return the layout without the level readings."""
    units = [
        unit.model_copy(
            update={
                "stand": tuple(
                    stand.model_copy(update={"tilts": tuple(t for t in stand.tilts if not t.startswith("level-"))})
                    for stand in unit.stand
                )
            }
        )
        for unit in layout.unit
    ]
    return layout.model_copy(update={"unit": tuple(units)})


@pytest.mark.parametrize("tilt_deg", [0.02, 0.0001])
def test_kingpin_inclination_never_rests_on_camber_alone(tilt_deg: float) -> None:
    """However fine the inclinometer: without the level it stays not determined, and the words say why."""
    layout = camber_only(load_layout("tractor-4x2"))
    fine = exact(Quantity.INCLINATION, math.radians(tilt_deg))
    solver = Solver(layout, None, METER, fine, plate=PLATES, offered=tilts_at_wheels(layout, WITH_ALL))
    shots = plan_shots(layout, chosen=WITH_ALL)
    results = {result.key: result for result in prove(solver, layout, shots, 2, chosen=WITH_ALL).results}
    for side in ("left", "right", "difference"):
        kingpin = results[f"tractor.steer.kpi.{side}"]
        assert kingpin.value is None
        assert kingpin.why == NO_LEVEL
        assert results[f"tractor.steer.caster.{side}"].value is not None
        assert results[f"tractor.steer.caster.{side}"].why == ""
    first = solver.first_determined([[line] for line in lines_of(shots).values()])
    assert "tractor.steer.caster.left" in first
    assert "tractor.steer.kpi.left" not in first


def test_kingpin_inclination_waits_for_both_readings_of_the_level() -> None:
    layout = load_layout("tractor-4x2")
    solver = Solver(layout, None, METER, TILT, plate=PLATES, offered=tilts_at_wheels(layout, WITH_ALL))
    steps = lines_of(plan_shots(layout, chosen=WITH_ALL))
    first = solver.first_determined([[line] * 2 for line in steps.values()])
    assert list(steps)[first["tractor.steer.kpi.left"]] == "S1Lh:level-in"
    assert list(steps)[first["tractor.steer.kpi.right"]] == "S1Rh:level-out"


def three_cambers() -> Model:
    """One axle, cambers straight, out and in, nothing of the level; plates and floor taken as known."""
    layout = camber_only(load_layout("tractor-4x2"))
    tilts = [
        tilt for tilt in tilts_at_wheels(layout, WITH_ALL) if tilt.at.startswith("S1") and "rolled" not in tilt.name
    ]
    ordinary = exact_model(layout, list(tilts), tilt_sd=math.radians(0.05), plate_sd=1e-9)
    known = [
        name.endswith((".floor.along", ".floor.across", ".yaw", ".steer.L", ".steer.R")) for name in ordinary.names
    ]
    return replace(ordinary, prior_sd=np.where(known, 1e-9, ordinary.prior_sd))


def test_the_uncertainty_of_caster_agrees_with_monte_carlo() -> None:
    """JCGM 101:2008: propagation of distributions. Derived: 0.05 deg a camber gives 0.103 of caster, 1.00 of KPI."""
    model = three_cambers()
    names = {name: number for number, name in enumerate(model.names)}
    true = model.prior.copy()
    readings, _ = model.network.predict(true)
    rng = np.random.default_rng(101)
    found: list[float] = []
    adjusted = None
    for _ in range(400):
        noisy = readings + model.sd * rng.normal(size=len(readings))
        adjusted = adjust(
            Equations(
                predict=model.network.predict, observed=noisy, sd=model.sd, prior=model.prior, prior_sd=model.prior_sd
            )
        )
        found.append(float(adjusted.x[names["tractor.S1.caster.L"]]))
    assert adjusted is not None
    stated = {
        name: math.degrees(math.sqrt(float(adjusted.covariance[number, number]))) for name, number in names.items()
    }
    assert stated["tractor.S1.caster.L"] == pytest.approx(0.103, abs=0.002)
    assert stated["tractor.S1.kpi.L"] == pytest.approx(1.00, abs=0.01)
    assert math.degrees(float(np.std(found))) == pytest.approx(0.103, rel=0.11)  # 3 sd of 400 draws


def test_left_and_right_exchanged_exchange_the_results() -> None:
    """Mirror the whole of it: readings of left and right exchanged, the floor's slope across reversed."""
    layout = load_layout("tractor-4x2")
    vehicle = SimulatedVehicle.build(layout, 4, faults=PlantedFaults(settings=0, unevenness=0, slope_deg=(0.8, 0.6)))
    wheels: dict[Line, float] = {line: v for line, v in walked(vehicle, layout).items() if isinstance(line, Tilt)}

    def over(line: Line, value: float) -> tuple[Line, float]:
        assert isinstance(line, Tilt)
        if line.name.startswith("across"):
            return line, -value
        exchanged = line.at.replace("R", "#").replace("L", "R").replace("#", "L") if line.name != "frame" else line.at
        return replace(line, at=exchanged), value

    mirrored = dict(over(line, value) for line, value in wheels.items())
    assert set(mirrored) == set(wheels)
    model = exact_model(layout, list(wheels))
    plain, other = (
        {f.key: f.value.value for unit in model.units for f in evaluate(unit, solved(model, readings).x)}
        for readings in (wheels, mirrored)
    )
    for quantity in ("steer.camber", "steer.caster", "steer.kpi", "drive.camber"):
        left, right, apart = (f"tractor.{quantity}.{side}" for side in ("left", "right", "difference"))
        assert other[left] == pytest.approx(plain[right], abs=1e-7)
        assert other[apart] == pytest.approx(-plain[apart], abs=1e-7)


def test_a_job_without_these_parts_has_the_network_it_had() -> None:
    layout = load_layout("tractor-6x4")
    lines = list(lines_of(plan_shots(layout)).values())
    sights = [line for line in lines if isinstance(line, Sight)]
    tilts = [line for line in lines if isinstance(line, Tilt)]
    model = build_model(layout, sights, tilts, meter=METER, inclinometer=TILT)
    assert model.network.wheels is None
    assert not [name for name in model.names if "camber" in name or "caster" in name]
    results = Solver(layout, None, METER, TILT).solve([], lines).results
    assert not [result.key for result in results if is_about_wheels(result.key)]


def test_a_part_alone_brings_its_own_results_only() -> None:
    layout = load_layout("tractor-4x2")
    kinds: dict[str, set[str]] = {}
    parts: tuple[Part, ...] = ("camber", "sweep")
    for part in parts:
        chosen = Chosen(parts=frozenset({part}))
        solver = Solver(layout, None, METER, TILT, plate=PLATES, offered=tilts_at_wheels(layout, chosen))
        shots = plan_shots(layout, chosen=chosen)
        results = prove(solver, layout, shots, 2, chosen=chosen).results
        kinds[part] = {r.key.split(".")[2] for r in results if is_about_wheels(r.key)}
        assert not [r.key for r in results if is_about_wheels(r.key) and r.value is None]
    assert kinds["camber"] == {"camber"}
    assert kinds["sweep"] == {"caster", "kpi", "turn", "toe-out-on-turns", "ackermann", "pitch"}


def test_the_example_limits_judge_the_wheels() -> None:
    layout, sheet = load_layout("tractor-4x2"), load_limit_sheet("example-tractor")
    solver = Solver(layout, sheet, METER, TILT, plate=PLATES, offered=tilts_at_wheels(layout, WITH_ALL))
    proof = prove(solver, layout, plan_shots(layout, chosen=WITH_ALL), 2, chosen=WITH_ALL)
    judged = {result.key for result in proof.results if result.zone_left is not None and is_about_wheels(result.key)}
    assert {"tractor.steer.camber.left", "tractor.steer.caster.right", "tractor.steer.kpi.left"} <= judged
    assert not judged & set(proof.cannot_decide)


def test_readings_of_plates_need_plates() -> None:
    layout = load_layout("tractor-4x2")
    with pytest.raises(ValueError, match="without an instrument"):
        build_model(layout, [], [Tilt("tractor", "plate-out", "S1Lh")], meter=METER, inclinometer=TILT)


def test_lines_come_in_the_network_s_order() -> None:
    mixed = [Tilt("t", "frame", "F0L"), Tilt("t", "plate-in", "S1Lh"), Tilt("t", "face", "S1Lh"), Tilt("t", "along")]
    assert [tilt.name for tilt in in_order(mixed)] == ["along", "face", "plate-in", "frame"]


def test_a_layout_without_a_frame_reading_states_caster_over_the_floor() -> None:
    from importlib.resources import files

    text = (files("axledger.job") / "layouts" / "tractor-4x2.toml").read_text(encoding="utf-8")
    layout = parse_layout(text.replace('tilts = ["frame"]', "tilts = []"), path="own")
    solver = Solver(layout, None, METER, TILT, plate=PLATES, offered=tilts_at_wheels(layout, WITH_ALL))
    results = {r.key: r for r in prove(solver, layout, plan_shots(layout, chosen=WITH_ALL), 2, chosen=WITH_ALL).results}
    assert results["tractor.steer.caster.left"].against == "the floor"
    assert "tractor.frame.pitch" not in results
