"""The model against an independent truth: the simulators' vehicle, built in three dimensions without the solver.

With errorless readings and perfect settings the solution must be the truth. The layout's priors are loosened so far
that they pull by less than the tolerance: what is left is the model itself, every sign in it included.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from axledger.contract.errors import BadFile
from axledger.geometry.adjustment import Array, Equations, adjust
from axledger.geometry.results import Formula, evaluate
from axledger.job.layout import Layout, parse_layout
from axledger.job.library import layout_names, load_layout
from axledger.job.model import LayoutPriors, Model, Sight, Tilt, build_model
from axledger.job.plan import Shot, plan_shots
from axledger.job.proof import lines_of
from axledger.job.settings import DEFAULT_SETTINGS, MountKind
from axledger.job.solution import Line
from axledger_simulators.beam import trace
from axledger_simulators.kit import inclinometer_record, meter_record
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

METER, TILT = meter_record("meter", "test:1"), inclinometer_record("tilt", "test:2")
SLOPE_DEG = (0.7, -0.5)


def looser(factor: float) -> LayoutPriors:
    usual = LayoutPriors()
    return LayoutPriors(
        usual.along_m * factor, usual.aside_m * factor, usual.yaw_rad * factor, usual.steer_rad * factor,
        usual.slope_rad * factor,
    )  # fmt: skip


def free_rails(layout: Layout) -> Layout:
    """Let rail targets hang anywhere along the vehicle: their usual prior pulls a wheelbase by some micrometres."""
    units = [
        unit.model_copy(
            update={
                "mount": tuple(
                    mount.model_copy(update={"setting": mount.stated.model_copy(update={"along": 1000.0})})
                    if mount.kind is MountKind.RAIL
                    else mount
                    for mount in unit.mount
                )
            }
        )
        for unit in layout.unit
    ]
    return layout.model_copy(update={"unit": tuple(units)})


def model_of(layout: Layout, lines: list[Line], priors: LayoutPriors | None = None) -> Model:
    sights = [line for line in lines if isinstance(line, Sight)]
    tilts = [line for line in lines if isinstance(line, Tilt)]
    return build_model(layout, sights, tilts, meter=METER, inclinometer=TILT, priors=priors)


def walked(vehicle: SimulatedVehicle, shots: tuple[Shot, ...]) -> dict[Line, float]:
    """Walk the plan with errorless instruments, turning targets as it says."""
    readings: dict[Line, float] = {}
    for shot, line in zip(shots, lines_of(shots).values(), strict=True):
        for target in shot.turn:
            vehicle.turn(target)
        if shot.kind == "tilt":
            readings[line] = vehicle.inclination(shot.start, shot.tilt)
        else:
            readings[line] = trace(vehicle, shot.start, shot.end, folded=shot.fold).distance_m
    return readings


def solved(model: Model, readings: dict[Line, float]) -> Array:
    lines: list[Line] = [*model.sights, *model.tilts]
    observed = np.array([readings[line] for line in lines])
    adjusted = adjust(
        Equations(
            predict=model.network.predict, observed=observed, sd=model.sd, prior=model.prior, prior_sd=model.prior_sd
        )
    )
    assert adjusted.converged
    assert adjusted.minimum
    return adjusted.x


def formulas(model: Model, x: Array) -> list[Formula]:
    return [formula for unit in model.units for formula in evaluate(unit, x)]


@pytest.mark.parametrize("name", layout_names())
@pytest.mark.parametrize("seed", [7, 8])
def test_errorless_readings_give_the_truth(name: str, seed: int) -> None:
    layout = free_rails(load_layout(name))
    wrong = PlantedFaults(settings=0, unevenness=0, slope_deg=SLOPE_DEG)
    vehicle = SimulatedVehicle.build(layout, seed, faults=wrong)
    truth = vehicle.truth()
    readings = walked(vehicle, plan_shots(layout))
    model = model_of(layout, list(readings), looser(1e4))
    found = formulas(model, solved(model, readings))
    assert {formula.key for formula in found} <= set(truth)
    assert len(found) >= 1
    for formula in found:
        assert formula.value.value == pytest.approx(truth[formula.key], abs=1e-6), formula.key


@pytest.mark.parametrize("name", ["tractor-4x2", "semitrailer-2axle"])
def test_a_plumb_line_on_a_slope_is_reckoned_with(name: str) -> None:
    """Half a metre of plumb line leans by 10 mm for a degree: forgotten, the truth would be missed by far."""
    layout = free_rails(load_layout(name))
    mounts = [mount for unit in layout.unit for mount in unit.mount]
    if not any(mount.drop_m for mount in mounts):
        plumbed = [
            unit.model_copy(update={"mount": tuple(m.model_copy(update={"drop_m": 0.5}) for m in unit.mount)})
            for unit in layout.unit
        ]
        layout = layout.model_copy(update={"unit": tuple(plumbed)})
    wrong = PlantedFaults(settings=0, unevenness=0, slope_deg=(2.0, -1.5))
    vehicle = SimulatedVehicle.build(layout, 3, faults=wrong)
    readings = walked(vehicle, plan_shots(layout))
    model = model_of(layout, list(readings), looser(1e4))
    x, truth = solved(model, readings), vehicle.truth()
    # a slope's sine and its angle, and the millimetre by which a leaning line is shorter, are what is neglected
    assert all(abs(f.value.value - truth[f.key]) < 2e-5 for f in formulas(model, x))
    flat = {line: 0.0 if isinstance(line, Tilt) else value for line, value in readings.items()}
    if name == "tractor-4x2":
        assert any(abs(f.value.value - truth[f.key]) > 1e-3 for f in formulas(model, solved(model, flat)))


def test_the_instruments_errors_are_told_from_the_vehicle() -> None:
    """A zero of 0.8 mm and one of 0.04 degree, repeated in every reading, are found and change no result."""
    layout = free_rails(load_layout("tractor-4x2"))
    vehicle = SimulatedVehicle.build(layout, 4, faults=PlantedFaults(settings=0, unevenness=0))
    true = walked(vehicle, plan_shots(layout))
    tilt_zero = math.radians(0.04)
    spoiled = {line: value + (tilt_zero if isinstance(line, Tilt) else 0.0008) for line, value in true.items()}
    model = model_of(layout, list(true), looser(1e4))
    sharp = replace(model, prior_sd=np.where([name.endswith("zero") for name in model.names], 1.0, model.prior_sd))
    x, truth = solved(sharp, spoiled), vehicle.truth()
    # zero is what must be added to a length; an inclination's is what it shows too much
    assert x[model.names.index("meter.length.zero")] == pytest.approx(-0.0008, abs=1e-6)
    assert x[model.names.index("tilt.inclination.zero")] == pytest.approx(tilt_zero, abs=1e-7)
    assert all(abs(f.value.value - truth[f.key]) < 2e-6 for f in formulas(sharp, x))


# -- the states of a turned target


def columns(layout: Layout, *lines: Sight) -> tuple[Model, dict[str, Array]]:
    model = model_of(layout, list(lines))
    _, jacobian = model.network.predict(model.prior)
    return model, dict(zip(model.names, jacobian.T, strict=True))


def test_a_half_turn_flips_the_bias_and_draws_the_seating_anew() -> None:
    layout = load_layout("semitrailer-1axle")
    first, turned, again = (Sight("K", "T1Lh", 0, turns) for turns in (0, 1, 2))
    _, by = columns(layout, first, turned, again)
    bias = by["trailer.T1Lh.bias"]
    assert bias[1] == pytest.approx(-bias[0], rel=1e-12)
    assert bias[2] == pytest.approx(bias[0], rel=1e-12)
    for turns in range(3):
        seating = by[f"trailer.T1Lh.seating.{turns}"]
        assert [bool(part) for part in seating] == [number == turns for number in range(3)]
    for steady in ("rest", "across"):
        column = by[f"trailer.T1Lh.{steady}"]
        assert np.ptp(column) == pytest.approx(0.0, abs=1e-12)


def test_a_straightedge_turned_end_for_end_takes_its_ends_along() -> None:
    layout = load_layout("tractor-4x2")
    model, by = columns(layout, Sight("S1Lf", "S1Rf", 0, 0), Sight("S1Lf", "S1Rf", 1, 0))
    assert [bool(part) for part in by["tractor.S1L.end1.across"]] == [True, False]
    assert [bool(part) for part in by["tractor.S1L.end2.across"]] == [False, True]
    assert "tractor.S1R.end2.across" not in by
    assert not any(name.startswith("tractor.S1Lf") for name in model.names)


def test_left_and_right_share_the_span_and_nothing_else() -> None:
    _, by = columns(load_layout("semitrailer-1axle"), Sight("K", "T1Lh"), Sight("K", "T1Rh"))
    span = by["trailer.T1.hub.span"]
    assert span[0] == pytest.approx(span[1])
    assert span[0] > 0
    assert [bool(part) for part in by["trailer.T1Lh.across"]] == [True, False]


def test_the_jacobian_is_the_derivative() -> None:
    layout = load_layout("tractor-4x2")
    model = model_of(layout, list(lines_of(plan_shots(layout)).values()))
    rng = np.random.default_rng(1)
    x = model.prior + rng.normal(size=len(model.prior)) * np.minimum(model.prior_sd, 0.01)
    _, jacobian = model.network.predict(x)
    for number in range(len(x)):
        step = np.zeros(len(x))
        step[number] = 1e-6
        difference = (model.network.predict(x + step)[0] - model.network.predict(x - step)[0]) / 2e-6
        assert np.allclose(jacobian[:, number], difference, atol=1e-7), model.names[number]


# -- sds and priors


def test_the_sd_of_a_reading_counts_the_display_step_and_steep_lines() -> None:
    layout = load_layout("semitrailer-1axle")
    raised = layout.unit[0].model_copy(
        update={
            "mount": tuple(
                mount.model_copy(update={"height_m": 1.150}) if mount.kind is MountKind.PIN else mount
                for mount in layout.unit[0].mount
            )
        }
    )
    flat = model_of(layout, [Sight("K", "T1Lh"), Tilt("trailer", "along")])
    steep = model_of(layout.model_copy(update={"unit": (raised,)}), [Sight("K", "T1Lh")])
    single = math.hypot(0.0007, 0.0001 / math.sqrt(12))
    assert flat.sd[0] == pytest.approx(single)
    assert flat.sd[1] == pytest.approx(math.hypot(math.radians(0.02), math.radians(0.01) / math.sqrt(12)))
    # heights known to 3 mm each: working figure, no source; the line rises 1.0 m
    reach = math.sqrt(8.0**2 + 1.332**2 + 1.0)
    assert steep.sd[0] == pytest.approx(math.hypot(single, math.sqrt(2) * 0.003 / reach))


def test_readings_without_their_instrument_are_refused() -> None:
    with pytest.raises(ValueError, match="inclination"):
        build_model(load_layout("semitrailer-1axle"), [], [Tilt("trailer", "along")], meter=METER, inclinometer=None)


def test_a_setting_stated_as_exact_makes_no_parameter() -> None:
    model = model_of(load_layout("semitrailer-1axle"), [Sight("K", "T1Lh")])
    assert DEFAULT_SETTINGS[MountKind.PIN].bias == 0.0
    assert "trailer.K.bias" not in model.names
    assert "trailer.K.across" in model.names


@pytest.mark.parametrize("name", layout_names())
def test_results_do_not_lean_on_the_layouts_priors(name: str) -> None:
    """Ten times looser priors change no standard uncertainty of a shipped plan by more than 2 %."""
    layout = load_layout(name)
    lines = [line for line in lines_of(plan_shots(layout)).values() for _ in range(2)]
    usual, loose = (uncertainties(model_of(layout, lines, looser(factor))) for factor in (1.0, 10.0))
    assert {key: u for key, u in loose.items() if u > 1.02 * usual[key]} == {}


def uncertainties(model: Model) -> dict[str, float]:
    """The standard uncertainty of every result by a plain inverse: another road than the solver's."""
    _, jacobian = model.network.predict(model.prior)
    weighted = np.vstack((jacobian / model.sd[:, None], np.diag(1.0 / model.prior_sd)))
    _, triangle = np.linalg.qr(weighted)
    return {
        formula.key: float(np.linalg.norm(np.linalg.solve(triangle.T, formula.value.gradient)))
        for formula in formulas(model, model.prior)
    }


def test_one_rail_pair_is_refused_by_the_layout() -> None:
    from importlib.resources import files

    text = files("axledger.job").joinpath("layouts/tractor-4x2.toml").read_text(encoding="utf-8")
    rail = text[text.index('[[unit.mount]]\nkind = "rail"\ncode = "F2"') : text.index('[[unit.mount]]\nkind = "floor"')]
    with pytest.raises(BadFile) as caught:
        parse_layout(text.replace(rail, ""), path="one pair")
    assert "one pair alone gives no direction" in str(caught.value)
