"""What adjusters do to parameters, against rigid bodies turned by hand; and the datum that a move may stand on."""

from __future__ import annotations

from math import atan2, degrees, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.geometry.moves import Control, Effect, first_move, freed, reached
from axledger.geometry.results import AxleGeometry, UnitGeometry, evaluate

SHIFT = Control(
    name="left", effects=(Effect(2, -1.0, 0.9), Effect(0, 0.5)), low_m=-0.01, high_m=0.01, step_m=1e-4, sd_m=2e-4
)


def trailer(*, x: int, y: int) -> UnitGeometry:
    """Return an invented one-axle trailer; ``x`` and ``y`` may name the constant zero, which is parameter 3."""
    axle = AxleGeometry(
        id="a", name="axle", group="rear", driven=False, x=x, y=y, yaw=2, x_m=-8.0, wheel_half_m=1.0
    )  # fmt: skip
    return UnitGeometry(
        id="t", name="trailer", powered=False, reference="coupling", pin_x_m=0.0, toe_diameter_m=1.0, axles=(axle,)
    )  # fmt: skip


@given(st.floats(-0.012, 0.012))
def test_a_mount_pulled_forward_swings_the_beam_about_the_other_mount(amount_m: float) -> None:
    x = reached(np.zeros(3), [SHIFT], [amount_m])
    # by hand: mounts at y = +0.45 and -0.45, the left one at x = amount
    assert x[2] == pytest.approx(atan2(-amount_m, 0.9), abs=1e-12)
    assert x[0] == pytest.approx(amount_m / 2)
    assert x[1] == 0.0


@given(st.floats(-0.015, 0.015))
def test_a_rod_at_an_arm_turns_by_the_arc_sine(amount_m: float) -> None:
    effect = Effect(0, 1.0, 0.19, by_sine=True)
    assert np.sin(effect.change(amount_m)) * 0.19 == pytest.approx(amount_m, abs=1e-12)


@given(
    st.sampled_from([Effect(0, -1.0, 0.9), Effect(0, 0.5), Effect(0, 1.0, 0.19, by_sine=True)]),
    st.floats(-0.015, 0.015),
)
def test_the_slope_is_the_derivative(effect: Effect, amount_m: float) -> None:
    step = 1e-6
    chord = (effect.change(amount_m + step) - effect.change(amount_m - step)) / (2 * step)
    assert effect.slope(amount_m) == pytest.approx(chord, rel=1e-6)


def test_a_move_can_be_made_at_the_axle_that_the_datum_stands_on() -> None:
    held, free = trailer(x=0, y=3), trailer(x=0, y=1)
    unit, x = freed(held, np.zeros(3))
    assert (unit.axles[0].x, unit.axles[0].y, len(x)) == (0, 3, 4)
    x[unit.axles[0].y] = 0.010
    moved = {one.key: one.value.value for one in evaluate(unit, x)}
    asked = {one.key: one.value.value for one in evaluate(free, np.array([0.0, 0.010, 0.0]))}
    assert moved == pytest.approx(asked)
    # the coupling line turns with the axle's middle: 10 mm over 8 m
    assert degrees(moved["t.a.squareness"]) == pytest.approx(degrees(0.010 / 8.0), abs=1e-5)


def test_what_is_not_held_keeps_its_number() -> None:
    unit, x = freed(trailer(x=0, y=1), np.array([0.001, 0.002, radians(0.1)]))
    assert unit == trailer(x=0, y=1)
    assert x.tolist() == [0.001, 0.002, radians(0.1)]


def test_the_first_move_removes_the_difference() -> None:
    # 4 mm between left and right over a track of 2.0 m, mounts 0.9 m apart
    amount = first_move(0.004, 0.9, 2.0)
    assert amount == pytest.approx(0.0018)
    assert 2.0 * np.tan(reached(np.zeros(3), [SHIFT], [amount])[2]) == pytest.approx(-0.004)
