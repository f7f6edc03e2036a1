"""Results at wheels as formulas of parameters: signs, frame pitch, the turn centre, and their gradients."""

from __future__ import annotations

from math import degrees, radians

import numpy as np
import pytest

from axledger.geometry.attitude import inner_angle
from axledger.geometry.formula import Formula
from axledger.geometry.traced import Traced, constant
from axledger.geometry.wheel_results import OUTER_RAD, AxleWheels, SteeredAxle, frame_formula, wheel_formulas

SIZE = 13
WHEELS = AxleWheels(
    camber=(0, 1),
    shown=True,
    steered=SteeredAxle(
        caster=(2, 3), kingpin=(4, 5), straight=(6, 7), turned_out=(8, 9), turned_in=(10, 11), pivots_m=1.8
    ),
)
PITCH = 12


def parameters() -> np.ndarray:
    """Camber, caster, kingpin, straight, and steered so that the outer wheel stands at 20: a turn centre in common."""
    inner = degrees(inner_angle(OUTER_RAD, pivots_m=1.8, wheelbase_m=5.2))
    return np.radians([0.4, 0.1, 3.0, 3.5, 6.0, 6.2, 0.1, -0.1, inner + 0.1, -inner - 0.1, -19.9, 19.9, 0.75])


def evaluated(x: np.ndarray, *, pitch: int | None = PITCH, wheelbase_m: float | None = 5.2) -> dict[str, Formula]:
    def number(one: int) -> Traced:
        return Traced(float(x[one]), np.eye(SIZE)[one])

    base = constant(wheelbase_m, SIZE) if wheelbase_m is not None else None
    formulas = wheel_formulas("tractor.steer", "steer axle", WHEELS, number, pitch=pitch, wheelbase_m=base)
    return {formula.key.removeprefix("tractor.steer."): formula for formula in formulas}


def test_every_result_of_a_swept_axle() -> None:
    found = {key: degrees(formula.value.value) for key, formula in evaluated(parameters()).items()}
    assert found == pytest.approx(
        {
            "camber.left": 0.4, "camber.right": 0.1, "camber.difference": 0.3,
            # the frame is nose down by 0.75: over the frame, the axis leans back by that much more
            # (TM 5-4210-229-14&P para 4-162: 3.00 specified, 0.75 nose down, expect a reading of 2.25)
            "caster.left": 3.75, "caster.right": 4.25, "caster.difference": -0.5,
            "kpi.left": 6.0, "kpi.right": 6.2, "kpi.difference": -0.2,
            "turn.left.out": 22.608652, "turn.left.in": 20.0, "turn.right.out": 22.608652, "turn.right.in": 20.0,
            "toe-out-on-turns.left": 2.608652, "toe-out-on-turns.right": 2.608652,
            "ackermann.left": 0.0, "ackermann.right": 0.0,
        },
        abs=1e-6,
    )  # fmt: skip


def test_an_outer_wheel_elsewhere_than_at_20_is_carried_over() -> None:
    """Turned to 18 and as Ackermann geometry has it, the toe-out stated for 20 is that of Ackermann geometry too."""
    x = parameters()
    x[11] = radians(17.9)
    x[8] = inner_angle(radians(18.0), pivots_m=1.8, wheelbase_m=5.2) + x[6]
    found = evaluated(x)
    assert degrees(found["toe-out-on-turns.left"].value.value) == pytest.approx(2.608652, abs=1e-6)
    assert found["ackermann.left"].value.value == pytest.approx(0.0, abs=1e-12)


def test_without_the_frame_caster_is_stated_over_the_floor() -> None:
    found = evaluated(parameters(), pitch=None)
    assert degrees(found["caster.left"].value.value) == pytest.approx(3.0)
    assert found["caster.left"].against == "the floor"
    assert "frame" in evaluated(parameters())["caster.left"].against


def test_without_a_wheelbase_there_is_no_turn_centre() -> None:
    assert not {key for key in evaluated(parameters(), wheelbase_m=None) if key.startswith(("toe-out", "ackermann"))}


def test_gradients_against_differences() -> None:
    x, step = parameters(), 1e-6
    for key, formula in evaluated(x).items():
        for number, change in enumerate(np.eye(SIZE) * step):
            slope = (evaluated(x + change)[key].value.value - evaluated(x - change)[key].value.value) / (2 * step)
            assert formula.value.gradient[number] == pytest.approx(slope, abs=1e-8), key


def test_the_frame_s_pitch_is_a_result_of_the_unit() -> None:
    formula = frame_formula("tractor", "tractor", constant(radians(0.75), 1))
    assert formula.key == "tractor.frame.pitch"
    assert formula.against == "the floor"
