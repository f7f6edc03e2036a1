"""Whether limits can be decided, before the job; figures of an own study by simulation, and the rule itself."""

from __future__ import annotations

import math

import numpy as np
import pytest

from axledger.contract.quantity import Quantity
from axledger.geometry.conformity import Rule, Verdict, judge, zone_left
from axledger.job.ability import SURE, Ability, ability_body, can_decide, shown_conforming
from axledger.job.layout import Layout
from axledger.job.library import load_layout
from axledger.job.limits import LimitSheet, parse_limit_sheet
from axledger.job.plan import Chosen, plan_shots
from axledger.job.proof import forecast
from axledger.job.solution import Solver
from axledger_simulators.kit import inclinometer_record, meter_record

METER, TILT = meter_record("meter", "test:1"), inclinometer_record("tilt", "test:2")

# Source: own study, simulated (generic vehicles, invented spreads). Tolerance and u in degrees, share of the
# tolerance left, chance that a perfect vehicle and one at half its tolerance is NOT shown to conform; None: no figure.
STUDY = [
    (0.083, 0.042, 0.16, 0.75, 0.84),  # toe 3.2 +- 1.6 mm at 41.5 in, one reading of a 0.7 mm meter
    (0.083, 0.033, 0.34, 0.39, 0.67),
    (0.083, 0.020, 0.60, 0.01, 0.34),
    (0.091, 0.028, 0.49, 0.11, 0.51),  # drive axle ends 1/8 in
    (0.0455, 0.024, 0.13, 0.81, 0.87),  # tandem or trailer axles 1/16 in
    (0.0455, 0.012, 0.56, 0.03, 0.40),
    (0.0435, 0.024, 0.09, 0.87, 0.91),
    (0.091, 0.019, 0.66, 0.00, 0.23),  # coupling pin 1/8 in
    (0.136, 0.019, 0.77, 0.00, 0.03),
    (0.091, 0.060, 0.00, 1.00, 1.00),
]


@pytest.mark.parametrize(("tolerance", "u", "left", "perfect", "half"), STUDY)
def test_chances_are_those_of_the_study(tolerance: float, u: float, left: float, perfect: float, half: float) -> None:
    limits = (-tolerance, tolerance)
    assert zone_left(u, *limits, Rule.GUARD_95) == pytest.approx(left, abs=0.012)
    shown = [shown_conforming(true, u, *limits, Rule.GUARD_95) for true in (0.0, tolerance / 2.0)]
    # the study rounded its u to three digits, which moves a chance by a hundredth or two
    assert 1.0 - shown[0] == pytest.approx(perfect, abs=0.02)
    assert 1.0 - shown[1] == pytest.approx(half, abs=0.02)


@pytest.mark.parametrize("rule", list(Rule))
@pytest.mark.parametrize("limits", [(-1.0, 1.0), (None, 1.0), (-1.0, None)])
@pytest.mark.parametrize("true", [0.0, 0.5, 1.2])
def test_the_chance_is_how_often_the_rule_says_so(
    rule: Rule, limits: tuple[float | None, float | None], true: float
) -> None:
    """Oracle: the rule on 4,000 simulated values; three sds of the count are 0.024 at most."""
    values = true + 0.3 * np.random.default_rng(11).normal(size=4000)
    conforming = sum(judge(value, 0.3, *limits, rule).verdict is Verdict.CONFORMS for value in values.tolist())
    assert shown_conforming(true, 0.3, *limits, rule) == pytest.approx(conforming / 4000, abs=0.024)


def sheet(*rows: tuple[str, str, float | None, float | None]) -> LimitSheet:
    text = 'schema = 1\nname = "of-tests"\ntitle = "Limits invented for tests"\nexample = true\n'
    for key, unit, lower, upper in rows:
        text += f'\n[[limit]]\nkey = "{key}"\nunit = "{unit}"\nsource = "invented"\nrevision = "1"\n'
        text += "".join(
            f"{name} = {value}\n" for name, value in (("lower", lower), ("upper", upper)) if value is not None
        )
    return parse_limit_sheet(text, path="of-tests")


def solver_of(layout: Layout, limits: LimitSheet | None) -> Solver:
    return Solver(layout, limits, METER, TILT)


def abilities_of(name: str, limits: LimitSheet | None, *, repeats: int = 2, chosen: Chosen | None = None) -> tuple[
    Solver, dict[str, Ability]
]:  # fmt: skip
    layout, walk = load_layout(name), chosen or Chosen()
    solver = solver_of(layout, limits)
    found = can_decide(solver, layout, plan_shots(layout, chosen=walk), repeats, chosen=walk)
    return solver, {ability.key: ability for ability in found}


def u_of(solver: Solver, walk: Chosen, repeats: int, key: str) -> float:
    shots = plan_shots(solver.layout, chosen=walk)
    return next(result.forecast_u for result in forecast(solver, shots, repeats) if result.key == key)


PIN = "trailer.axle1.squareness"
PARALLEL = "trailer.axle2.parallelism"


def test_a_wide_limit_needs_no_cure() -> None:
    _, found = abilities_of("semitrailer-2axle", sheet((PIN, "deg", -0.3, 0.3)))
    (ability,) = found.values()
    assert ability.sure
    assert ability.cure is None
    assert ability.perfect is not None
    assert ability.perfect > 0.99
    assert ability.zone_left == pytest.approx(1 - 1.65 * ability.u / math.radians(0.3), rel=1e-9)


def test_a_walk_without_turns_is_told_to_turn_and_what_that_brings() -> None:
    unturned = Chosen(turns=False)
    _, plain = abilities_of("semitrailer-2axle", sheet((PARALLEL, "deg", -1, 1)), chosen=unturned)
    before = math.degrees(plain[PARALLEL].u)
    # so narrow that the walk does not decide it, and so wide that the turns do
    tolerance = 2.9 * before
    limits = sheet((PARALLEL, "deg", -tolerance, tolerance))
    solver, found = abilities_of("semitrailer-2axle", limits, chosen=unturned)
    ability = found[PARALLEL]
    assert not ability.sure
    assert ability.cure is not None
    assert ability.cure.words == "turn the targets half a turn"
    assert ability.cure.u == pytest.approx(u_of(solver, Chosen(), 2, PARALLEL), rel=1e-9)
    assert ability.cure.perfect is not None
    assert ability.cure.perfect >= SURE
    # four hub targets at 20 s, as the walk's shots are the same: working figures of our own
    assert ability.cure.cost == "1.3 min more each job"


def test_repeats_are_named_where_they_are_enough() -> None:
    """Toe rests on readings: the cheapest cure of one reading a shot is another."""
    key = "tractor.steer.toe.total"
    _, wide = abilities_of("tractor-4x2", sheet((key, "deg", -5, 5)), repeats=1)
    solver = solver_of(load_layout("tractor-4x2"), None)
    three = math.degrees(u_of(solver, Chosen(), 3, key))
    tolerance = 3.35 * three
    assert tolerance / math.degrees(wide[key].u) < 3.25
    _, found = abilities_of("tractor-4x2", sheet((key, "deg", -tolerance, tolerance)), repeats=1)
    cure = found[key].cure
    assert cure is not None
    assert cure.words == "3 readings a shot"
    assert math.degrees(cure.u) == pytest.approx(three, rel=1e-9)


def test_a_limit_that_nothing_reaches_gets_the_best_there_is_or_nothing() -> None:
    _, found = abilities_of("semitrailer-2axle", sheet((PARALLEL, "deg", -0.02, 0.02), (PIN, "deg", -1e-4, 1e-4)))
    assert found[PIN].cure is None
    assert (found[PIN].zone_left, found[PIN].perfect, found[PIN].half) == (0.0, 0.0, 0.0)
    cure = found[PARALLEL].cure
    assert cure is None or (cure.perfect or 0.0) < SURE


def test_a_steadier_meter_is_computed_with_that_meter() -> None:
    key = "tractor.steer.toe.left"
    _, wide = abilities_of("tractor-4x2", sheet((key, "deg", -5, 5)))
    tolerance = 2.4 * math.degrees(wide[key].u)
    solver, found = abilities_of("tractor-4x2", sheet((key, "deg", -tolerance, tolerance)))
    cure = found[key].cure
    assert cure is not None
    record = METER.quantities[Quantity.LENGTH].model_copy(update={"repeatability": 0.0003})
    steady = METER.model_copy(update={"quantities": {**METER.quantities, Quantity.LENGTH: record}})
    expected = u_of(Solver(solver.layout, None, steady, TILT), Chosen(), 2, key)
    if cure.words.startswith("a meter"):
        assert cure.u == pytest.approx(expected, rel=1e-9)
    else:  # something cheaper does as well
        assert cure.u <= expected


def test_a_limit_on_one_side_has_a_share_and_no_chances() -> None:
    _, found = abilities_of("semitrailer-2axle", sheet((PIN, "deg", None, 0.1)))
    assert (found[PIN].perfect, found[PIN].half) == (None, None)
    assert found[PIN].sure
    body = ability_body(found[PIN])
    assert body["u"] == pytest.approx(math.degrees(found[PIN].u))
    assert body["cure"] is None


def test_what_the_plan_does_not_determine_is_not_decided_either() -> None:
    layout = load_layout("semitrailer-1axle")
    shots = tuple(shot for shot in plan_shots(layout) if "T1Lh" not in (shot.start, shot.end))
    found = can_decide(solver_of(layout, sheet((PIN, "deg", -5, 5))), layout, shots, 2)
    assert [(ability.zone_left, ability.perfect) for ability in found] == [(0.0, 0.0)]


def test_without_limits_there_is_nothing_to_decide() -> None:
    assert abilities_of("semitrailer-1axle", None)[1] == {}
