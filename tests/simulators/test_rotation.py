from __future__ import annotations

import math

import numpy as np
import pytest

from axledger_simulators.rotation import about_x, about_y, about_z, floor_axes


def test_right_hand_senses() -> None:
    x, y, z = np.eye(3)
    quarter = math.pi / 2  # from memory: the right-hand rule takes y to z, z to x, x to y
    assert about_x(quarter) @ y == pytest.approx(z, abs=1e-15)
    assert about_y(quarter) @ z == pytest.approx(x, abs=1e-15)
    assert about_z(quarter) @ x == pytest.approx(y, abs=1e-15)


def test_floor_axes_rise_by_what_an_inclinometer_reads() -> None:
    along, across = math.radians(1.2), math.radians(-0.7)
    axes = floor_axes(heading_rad=0.4, along_rad=along, across_rad=across)
    assert axes.T @ axes == pytest.approx(np.eye(3), abs=1e-15)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert math.asin(axes[2, 0]) == pytest.approx(along, abs=1e-15)
    assert math.asin(axes[2, 1]) == pytest.approx(across, abs=1e-15)
