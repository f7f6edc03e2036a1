"""How a wheel stands: spin axis, steering axis, and the exact relations between what an inclinometer can read.

Everything is written for the left wheel, in the frame of ISO 8855:2011 (x forward, y left, z up); the right wheel
is its mirror, so there every heading counts outward and every angle keeps its meaning. With ``d`` the heading of
the wheel plane (turned out positive) and ``g`` the inclination (camber, top outward positive) the spin axis,
pointing outboard, is ``e = (-cos g sin d, cos g cos d, -sin g)``; the steering axis is along
``k = (-tan C, -tan K, 1)`` with ``C`` caster (top rearward positive) and ``K`` kingpin inclination (top inward
positive). Turning about ``k`` leaves ``k.e`` as it was, from which everything here follows (derived here).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from axledger.geometry.adjustment import Array

__all__ = [
    "Pose",
    "camber_over_floor",
    "caster_from_sweep",
    "cross_slope",
    "heading_of",
    "inclination_of",
    "inner_angle",
    "kingpin_from_levels",
    "mean_direction",
    "projected_camber",
    "reversal",
    "run_out",
    "spin_axis",
    "steering_axis",
    "steering_axis_from_poses",
    "swept",
    "turned_about",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """A wheel at one steering position, rad: heading, inclination, and the level lying in the wheel plane.

    ``level_rad`` is positive when the level's forward end rises; the level is fixed to the knuckle (brake on).
    """

    heading_rad: float
    inclination_rad: float
    level_rad: float = 0.0


def spin_axis(heading_rad: float, inclination_rad: float) -> Array:
    """Return the unit spin axis ``(3,)``, pointing outboard."""
    level = math.cos(inclination_rad)
    return np.array([-level * math.sin(heading_rad), level * math.cos(heading_rad), -math.sin(inclination_rad)])


def steering_axis(caster_rad: float, kingpin_rad: float) -> Array:
    """Return the unit steering axis ``(3,)``, pointing up."""
    axis = np.array([-math.tan(caster_rad), -math.tan(kingpin_rad), 1.0])
    return np.asarray(axis / np.linalg.norm(axis), dtype=np.float64)


def turned_about(axis: Array, angle_rad: float, vector: Array) -> Array:
    """Return ``vector`` ``(3,)`` turned about the unit ``axis`` ``(3,)``, right-handed (Rodrigues' formula)."""
    cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    turned = vector * cosine + np.cross(axis, vector) * sine + axis * (float(axis @ vector) * (1.0 - cosine))
    return np.asarray(turned, dtype=np.float64)


def heading_of(axis: Array) -> float:
    """Return the heading of a wheel from its spin axis: of the wheel plane's trace on the floor, rad."""
    return math.atan2(-float(axis[0]), float(axis[1]))


def inclination_of(axis: Array) -> float:
    """Return the inclination of a wheel from its spin axis, rad: what an inclinometer square to its face reads."""
    return -math.asin(float(axis[2]) / float(np.linalg.norm(axis)))


def projected_camber(inclination_rad: float, heading_rad: float) -> float:
    """Return the inclination as it is seen along the vehicle, rad; equal to it where the wheel points ahead."""
    return math.atan(math.tan(inclination_rad) / math.cos(heading_rad))


def swept(pose: Pose, heading_rad: float, *, caster_rad: float, kingpin_rad: float) -> float:
    """Return the inclination of a wheel steered from ``pose`` to ``heading_rad``, rad, from ``k.e`` being constant."""
    constant = _swing(pose, caster_rad, kingpin_rad)
    slant = math.tan(caster_rad) * math.sin(heading_rad) - math.tan(kingpin_rad) * math.cos(heading_rad)
    return math.acos(constant / math.hypot(1.0, slant)) - math.atan2(1.0, slant)


def _swing(pose: Pose, caster_rad: float, kingpin_rad: float) -> float:
    axis = spin_axis(pose.heading_rad, pose.inclination_rad)
    return float(-math.tan(caster_rad) * axis[0] - math.tan(kingpin_rad) * axis[1] + axis[2])


def caster_from_sweep(turned_out: Pose, turned_in: Pose, *, kingpin_rad: float = 0.0) -> float:
    """Return the caster, rad, from two positions with the angles actually turned; exact for the right ``kingpin_rad``.

    A kingpin inclination wrong by a tenth of itself matters little as long as both angles are about the same.
    Raises ``ValueError`` where both positions have one heading.
    """
    out, inward = (spin_axis(pose.heading_rad, pose.inclination_rad) for pose in (turned_out, turned_in))
    base = float(inward[0] - out[0])
    if abs(base) < 1e-9:
        raise ValueError("caster needs two different headings")
    return math.atan((math.tan(kingpin_rad) * float(out[1] - inward[1]) + float(inward[2] - out[2])) / base)


def kingpin_from_levels(turned_out: Pose, turned_in: Pose) -> float:
    """Return the kingpin inclination, rad, from the level in the wheel plane; good to about 1 % of the angle."""
    half_turn = (math.sin(turned_out.heading_rad) - math.sin(turned_in.heading_rad)) / 2.0
    return math.atan(math.tan((turned_out.level_rad - turned_in.level_rad) / 2.0) / half_turn)


def steering_axis_from_poses(first: Pose, second: Pose) -> tuple[float, float]:
    """Return caster and kingpin inclination, rad, from two whole poses, exactly.

    The steering axis is square to what the spin axis and the level each changed by. Raises ``ValueError`` where
    the poses are too alike to have one.
    """
    changes = [after - before for before, after in zip(_frame(first), _frame(second), strict=True)]
    axis = np.cross(changes[0], changes[1])
    if abs(float(axis[2])) < 1e-12:
        raise ValueError("the two poses do not differ by a turn about a steering axis")
    return math.atan(-float(axis[0] / axis[2])), math.atan(-float(axis[1] / axis[2]))


def _frame(pose: Pose) -> tuple[Array, Array]:
    """Return the spin axis and the direction of the level, unit vectors."""
    axis = spin_axis(pose.heading_rad, pose.inclination_rad)
    ahead = np.array([math.cos(pose.heading_rad), math.sin(pose.heading_rad), 0.0])
    up = np.cross(ahead, axis)
    sine = math.sin(pose.level_rad) / math.cos(pose.inclination_rad)
    return axis, np.asarray(math.sqrt(1.0 - sine**2) * ahead + sine * up, dtype=np.float64)


def inner_angle(outer_rad: float, *, pivots_m: float, wheelbase_m: float) -> float:
    """Return the angle of the inner wheel whose axis meets that of the outer one on the rear axle's line, rad.

    ``cot outer - cot inner = pivots / wheelbase``, both turned angles positive. With ``pivots_m`` negated it
    returns the outer angle that goes with an inner one.
    """
    return math.atan2(
        wheelbase_m * math.sin(outer_rad), wheelbase_m * math.cos(outer_rad) - pivots_m * math.sin(outer_rad)
    )


def mean_direction(first: Array, second: Array) -> Array:
    """Return the unit mean ``(3,)`` of two directions taken half a wheel turn apart: free of run-out, exactly."""
    mean = first + second
    return np.asarray(mean / np.linalg.norm(mean), dtype=np.float64)


def run_out(quarters_rad: tuple[float, float, float, float]) -> float:
    """Return the amplitude of the run-out, rad, from inclinations at 0, 90, 180 and 270 degrees of wheel turn."""
    return math.hypot(quarters_rad[0] - quarters_rad[2], quarters_rad[1] - quarters_rad[3]) / 2.0


def cross_slope(left_m: float, right_m: float, track_m: float) -> float:
    """Return the floor's slope across, rad, left side high positive, from two heights a track apart."""
    return math.atan2(left_m - right_m, track_m)


def camber_over_floor(reading_rad: float, slope_rad: float, side: int) -> float:
    """Return the camber over the floor from a reading against gravity, rad; ``side`` is +1 left, -1 right."""
    return reading_rad + side * slope_rad


def reversal(direct_rad: float, turned_rad: float) -> tuple[float, float]:
    """Return slope and zero error, rad, from two readings with the instrument turned end for end."""
    return (direct_rad - turned_rad) / 2.0, (direct_rad + turned_rad) / 2.0
