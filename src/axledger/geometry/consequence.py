"""What a crooked axle costs in plain figures: sideways travel and how far the rear runs to one side.

All derived here from plane geometry and marked so wherever shown; no wear or fuel figure is claimed.
"""

from __future__ import annotations

import math

__all__ = ["DERIVED", "rear_offset_m", "scrub_each_rad", "sideways_m_per_km"]

DERIVED = "derived"
"""The mark that goes with every figure of this module: computed from the angle, not measured."""


def sideways_m_per_km(angle_rad: float) -> float:
    """Return how far a tyre rolling at ``angle_rad`` to its course is dragged sideways, m per km; sign as the angle's.

    1000 tan a: tyre rolling straight ahead on a level road, without the give of its tread.
    """
    return 1000.0 * math.tan(angle_rad)


def rear_offset_m(angle_rad: float, length_m: float) -> float:
    """Return how far the rear runs beside the front, m, sign as the angle's: L sin a.

    ``length_m`` lies between the point that is steered (coupling pin or steer axle) and the rear group's middle;
    ``angle_rad`` is the mean yaw of that group.
    """
    return length_m * math.sin(angle_rad)


def scrub_each_rad(first_rad: float, second_rad: float) -> float:
    """Return the slip of each of two axles that are not parallel, rad: half the difference, with equal tyres."""
    return 0.5 * (first_rad - second_rad)
