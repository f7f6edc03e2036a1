"""Rotation matrices of the simulated world: x forward, y left, z up, angles positive by the right hand."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

__all__ = ["Matrix", "Vector", "about_x", "about_y", "about_z", "floor_axes"]

Vector = npt.NDArray[np.float64]
Matrix = npt.NDArray[np.float64]


def about_x(angle_rad: float) -> Matrix:
    """Return the rotation about x, shape (3, 3)."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def about_y(angle_rad: float) -> Matrix:
    """Return the rotation about y, shape (3, 3)."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def about_z(angle_rad: float) -> Matrix:
    """Return the rotation about z, shape (3, 3); positive turns x toward y."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def floor_axes(*, heading_rad: float, along_rad: float, across_rad: float) -> Matrix:
    """Return the matrix (3, 3) that takes vehicle axes on a sloping floor to world axes (z up against gravity).

    The vehicle's x axis rises by ``along_rad`` above the horizon (nose up positive), its y axis by
    ``across_rad`` (left end higher positive); both are what an inclinometer on a beam along that axis reads.
    A roll by r after the pitch lifts y by ``sin r cos along`` only, so r is solved for.
    """
    roll_rad = math.asin(math.sin(across_rad) / math.cos(along_rad))
    axes: Matrix = about_z(heading_rad) @ about_y(-along_rad) @ about_x(roll_rad)
    return axes
