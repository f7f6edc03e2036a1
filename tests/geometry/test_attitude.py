"""Relations between a wheel's angles, over random wheels; the tabled figures stand in tests/published."""

from __future__ import annotations

from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.geometry.attitude import (
    Pose,
    caster_from_sweep,
    heading_of,
    inclination_of,
    spin_axis,
    steering_axis,
    steering_axis_from_poses,
    swept,
    turned_about,
)

casters = st.floats(-4.0, 10.0).map(radians)
kingpins = st.floats(0.0, 12.0).map(radians)
cambers = st.floats(-3.0, 3.0).map(radians)
toes = st.floats(-1.0, 1.0).map(radians)
turns = st.floats(10.0, 35.0).map(radians)


@given(casters, kingpins, cambers, toes, turns)
def test_steering_keeps_the_angle_between_spin_and_steering_axis(
    caster: float, kingpin: float, camber: float, toe: float, turn: float
) -> None:
    axis, spin = steering_axis(caster, kingpin), spin_axis(toe, camber)
    turned = turned_about(axis, turn, spin)
    assert axis @ turned == pytest.approx(axis @ spin, abs=1e-14)
    assert np.linalg.norm(turned) == pytest.approx(1.0, abs=1e-14)
    start = Pose(heading_rad=toe, inclination_rad=camber)
    reached = swept(start, heading_of(turned), caster_rad=caster, kingpin_rad=kingpin)
    assert reached == pytest.approx(inclination_of(turned), abs=1e-12)


@given(casters, kingpins, cambers, toes, turns, turns)
def test_any_two_positions_return_the_steering_axis(
    caster: float, kingpin: float, camber: float, toe: float, out: float, inward: float
) -> None:
    axis, spin = steering_axis(caster, kingpin), spin_axis(toe, camber)
    level = np.array([np.cos(toe), np.sin(toe), 0.0])
    poses: list[Pose] = []
    for turn in (out, -inward):
        face, ahead = turned_about(axis, turn, spin), turned_about(axis, turn, level)
        poses.append(
            Pose(
                heading_rad=heading_of(face), inclination_rad=inclination_of(face), level_rad=float(np.arcsin(ahead[2]))
            )
        )
    assert steering_axis_from_poses(poses[0], poses[1]) == pytest.approx((caster, kingpin), abs=1e-9)
    assert caster_from_sweep(poses[0], poses[1], kingpin_rad=kingpin) == pytest.approx(caster, abs=1e-9)
