from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from axledger.geometry.what_if import candidates_of, covariance_of
from axledger.job.layout import stations_of
from axledger.job.library import load_layout
from axledger.job.model import Sight
from axledger.job.offers import Yard
from axledger.job.outlook import outlook_of
from axledger.job.plan import Shot, plan_shots
from axledger.job.prospect import Aim, Prospect, chance_of_decision, wanted_u
from axledger.job.settings import MountKind
from axledger.job.solution import Line

# A drive hub target is turned; the result is its own place along the vehicle, seen by one line with the target's
# bias and seating in it: parameters (place, bias, seating now, seating after a turn), all along the line.
LAYOUT = load_layout("semitrailer-1axle")
BIAS, SEATING, NOISE = 0.40e-3, 0.20e-3, 0.50e-3
STATES = {(0, 0): [1.0, 1.0, 1.0, 0.0, 0.0], (1, 0): [1.0, -1.0, 0.0, 1.0, 0.0], (2, 0): [1.0, 1.0, 0.0, 0.0, 1.0]}


def shot() -> Shot:
    return next(one for one in plan_shots(LAYOUT) if one.id.startswith("T1Lh>K"))


def yard() -> Yard:
    own = replace(shot(), turn=())
    return Yard(
        shots=(own,), done=frozenset({own.id}), walked=frozenset({own.id}), turnable={"T1Lh": MountKind.HUB},
        turns={}, seen=frozenset({Sight("T1Lh", "K")}), repeats=2, standing="T1Lh",
    )  # fmt: skip


def prospect(value: float, upper: float) -> Prospect:
    """One aim; value and limit in mm. The line was read twice with the target as it hangs."""
    value, upper = 1e-3 * value, 1e-3 * upper
    prior = np.array([50e-3, BIAS, SEATING, SEATING, SEATING])
    rows = np.array(list(STATES.values()))
    covariance = covariance_of(rows[:1], np.array([NOISE / np.sqrt(2)]), prior)
    candidates = candidates_of(covariance, np.eye(5)[:1], rows, np.full(3, NOISE))
    u = float(np.sqrt(candidates.variance[0]))
    aim = Aim(
        key="trailer.axle1.offset", name="axle 1: lateral offset", unit="mm", value=value, u=u,
        wanted=wanted_u(value, None, upper, 1.65), upper=upper, factor=1.65,
    )  # fmt: skip
    lines: dict[Line, int] = {Sight("T1Lh", "K", turns, 0): number for number, (turns, _) in enumerate(STATES)}
    return Prospect(aims=(aim,), candidates=candidates, rows=lines, stretch=np.ones(1))


def test_the_target_is_one_that_is_there() -> None:
    assert "T1Lh" in {station.target for unit in LAYOUT.unit for station in stations_of(unit)}


def test_a_turn_halves_the_bias_away_and_is_named() -> None:
    """By hand: the bias leaves with the half turn; the mean of two seatings and two pairs of readings stays."""
    own = prospect(0.0, 0.75)
    assert own.u[0] == pytest.approx(np.hypot(np.hypot(BIAS, SEATING), NOISE / np.sqrt(2)), rel=1e-3)
    found = outlook_of(own, yard(), reachable=True)
    assert found.reached
    assert found.u < found.wanted
    assert "turn target T1Lh half a turn and shoot T1Lh>K again" in found.steps
    once = own.left_together([Sight("T1Lh", "K", 1, 0)], 2)
    assert once[0] == pytest.approx(np.sqrt((SEATING**2 + NOISE**2 / 2) / 2), rel=1e-3)
    assert found.chance == pytest.approx(chance_of_decision(own.aims[0], found.u))
    assert found.words.startswith("axle 1: lateral offset: decided by ")
    assert "no number of repeats would do, it is the setting that counts" not in found.words
    assert found.seconds >= 20.0


def test_it_says_that_the_setting_counts_where_no_repeat_would_do() -> None:
    found = outlook_of(prospect(0.0, 0.65), yard(), reachable=True)
    assert found.reached
    assert found.wanted < np.hypot(BIAS, SEATING)  # so much stays however often it is read
    assert "no number of repeats would do, it is the setting that counts" in found.words


def test_a_value_on_the_limit_is_promised_nothing() -> None:
    found = outlook_of(prospect(0.0, 0.05), yard(), reachable=False)
    assert not found.reached
    assert found.steps == ()
    assert "the value is too near the limit to be decided with these means" in found.words
    assert "only a better setting" in found.words
    assert "±0.89 mm with a perfect one" in found.words  # 2 root(0.4^2 + 0.2^2), by hand


def test_a_steadier_meter_is_named_where_it_is_the_meter() -> None:
    found = outlook_of(prospect(0.0, 0.80), yard(), reachable=False)
    assert "a steadier meter would help" in found.words


def test_what_the_plan_brings_by_itself_needs_no_step() -> None:
    own = prospect(0.0, 0.70)
    plan = own.after([Sight("T1Lh", "K", 1, 0)] * 3, [9, 9, 9])
    found = outlook_of(plan, yard(), reachable=True)
    assert found.steps == ()
    assert "by the rest of the plan" in found.words


def test_what_is_not_to_be_determined_is_said() -> None:
    own = prospect(0.0, 0.7)
    open_aim = replace(own.aims[0], value=None, wanted=1e-9)
    found = outlook_of(replace(own, aims=(open_aim,)), yard(), reachable=False)
    assert found.words.endswith("no line of this layout determines it")
