"""Consequences are odd in the angle, and agree with plain trigonometry; the table stands in tests/published."""

from __future__ import annotations

from math import hypot, radians

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.geometry.consequence import DERIVED, rear_offset_m, scrub_each_rad, sideways_m_per_km

ANGLES = st.floats(-0.1, 0.1)


@given(ANGLES)
def test_left_and_right_are_alike(angle: float) -> None:
    assert sideways_m_per_km(-angle) == -sideways_m_per_km(angle)
    assert rear_offset_m(-angle, 8.0) == -rear_offset_m(angle, 8.0)


@given(ANGLES, st.floats(1.0, 15.0))
def test_the_rear_lies_beside_the_front_by_a_leg_of_the_triangle(angle: float, length: float) -> None:
    offset = rear_offset_m(angle, length)
    along = offset / (sideways_m_per_km(angle) / 1000) if abs(angle) > 1e-6 else length
    assert hypot(offset, along) == pytest.approx(length, rel=1e-9)


def test_two_axles_share_the_scrub() -> None:
    # derived: 0.10 and -0.04 degrees, each axle slips 0.07 with equal tyres
    assert scrub_each_rad(radians(0.10), radians(-0.04)) == pytest.approx(radians(0.07))
    assert DERIVED == "derived"
