"""Inclinations at wheels as observations: against differences, against the derived sweep, mirrored."""

from __future__ import annotations

from dataclasses import replace
from math import degrees, radians

import numpy as np
import pytest

from axledger.geometry.wheel_network import LOCAL, FrameTilts, PlateAngles, WheelNetwork, WheelTilts

ALONG, ACROSS, YAW, STEER, OUT, IN, CAMBER, CASTER, KINGPIN, UP, AHEAD, LEVEL, ZERO, SEATING, PITCH, PLATE = range(16)
SIZE = 16


def numbers(*values: int) -> np.ndarray:
    return np.array(values, dtype=np.int64)


def row(turned: int) -> list[int]:
    return [ALONG, ACROSS, YAW, STEER, turned, CAMBER, CASTER, KINGPIN, UP, AHEAD, LEVEL, ZERO, SEATING]


def network(side: float) -> WheelNetwork:
    """One wheel read on its face straight, rolled, out and in, level out and in; two plate angles; the frame."""
    return WheelNetwork(
        SIZE,
        WheelTilts(
            parameters=np.array([row(turned) for turned in (SIZE, SIZE, OUT, IN, OUT, IN)]),
            side=np.full(6, side),
            rolled=np.array([1.0, -1.0, 1.0, 1.0, 1.0, 1.0]),
            level=np.array([False, False, False, False, True, True]),
            swept=np.array([False, False, True, True, True, True]),
        ),
        PlateAngles(
            turned=numbers(OUT, IN), straight=numbers(STEER, STEER), zero=numbers(PLATE, PLATE),
            sign=np.array([side, -side]),
        ),
        FrameTilts(
            along=numbers(ALONG), across=numbers(ACROSS), pitch=numbers(PITCH), zero=numbers(ZERO),
            seating=numbers(SEATING),
        ),
    )  # fmt: skip


def wheel(seed: int, side: float) -> np.ndarray:
    x = np.random.default_rng(seed).normal(size=SIZE) * 0.01
    x[OUT], x[IN] = side * 0.35 + x[OUT], -side * 0.35 + x[IN]
    x[CASTER] += 0.05
    x[KINGPIN] += 0.10
    return x


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_jacobian_against_central_differences(side: float, seed: int) -> None:
    shape, x = network(side), wheel(seed, side)
    readings, jacobian = shape.predict(x)
    assert jacobian.shape == (len(readings), SIZE)
    assert len(LOCAL) == shape.tilts.parameters.shape[1]
    step = 1e-6
    for number, change in enumerate(np.eye(SIZE) * step):
        slope = (shape.predict(x + change)[0] - shape.predict(x - change)[0]) / (2 * step)
        assert jacobian[:, number] == pytest.approx(slope, abs=1e-9)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_sweep_reads_what_an_exact_turn_about_the_kingpin_gives(side: float) -> None:
    """Derived by exact rotation: caster 3, kingpin 6, camber +0.5, toe-in 0.1, steered to 20 each way; degrees."""
    x = np.zeros(SIZE)
    x[STEER], x[OUT], x[IN] = side * radians(-0.1), side * radians(20), side * radians(-20)
    x[CAMBER], x[CASTER], x[KINGPIN] = radians(0.5), radians(3), radians(6)
    readings = np.degrees(network(side).predict(x)[0])
    assert readings[:6] == pytest.approx([0.5, 0.5, 1.898056, -0.158805, 1.891830, -2.230648], abs=2e-6)
    assert readings[6:8] == pytest.approx([20.1, 19.9], abs=1e-9)
    assert readings[8] == pytest.approx(0.0, abs=1e-12)


def test_left_and_right_are_mirror_images() -> None:
    left, right = network(1.0), network(-1.0)
    x = wheel(5, 1.0)
    mirrored = x.copy()
    mirrored[[ACROSS, YAW, STEER, OUT, IN]] *= -1.0
    assert right.predict(mirrored)[0] == pytest.approx(left.predict(x)[0], abs=1e-12)


def test_run_out_changes_sign_with_half_a_wheel_turn() -> None:
    x = np.zeros(SIZE)
    x[CAMBER], x[UP] = radians(0.5), radians(0.3)
    first, rolled = np.degrees(network(1.0).predict(x)[0][:2])
    assert (first + rolled) / 2 == pytest.approx(0.5, abs=1e-9)
    assert (first - rolled) / 2 == pytest.approx(0.3, abs=1e-5)


def test_the_floor_is_taken_out_and_the_frame_s_pitch_read() -> None:
    """Left side high by 0.223592: read 0.30 is camber 0.523592 (derived). Nose up floor 1.0, frame nose down 0.75."""
    x = np.zeros(SIZE)
    x[CAMBER], x[ACROSS], x[ALONG], x[PITCH] = radians(0.523592), radians(0.223592), radians(1.0), radians(0.75)
    readings = np.degrees(network(1.0).predict(x)[0])
    assert readings[0] == pytest.approx(0.30, abs=1e-4)
    assert readings[8] == pytest.approx(0.25, abs=1e-4)


def test_no_readings_at_wheels_leave_no_rows() -> None:
    whole = network(1.0)
    nothing = replace(
        whole,
        tilts=WheelTilts(
            parameters=np.zeros((0, len(LOCAL)), np.int64), side=np.zeros(0), rolled=np.zeros(0),
            level=np.zeros(0, np.bool_), swept=np.zeros(0, np.bool_),
        ),
    )  # fmt: skip
    readings, jacobian = nothing.predict(wheel(1, 1.0))
    assert len(readings) == 3
    assert jacobian.shape == (3, SIZE)
    assert degrees(readings[0]) == pytest.approx(20.0, abs=3.0)
