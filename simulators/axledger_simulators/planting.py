"""What is wrong with a simulated vehicle: the true deviations of axles and wheels, drawn or given.

The spreads are invented so that good and clearly bad axles both occur; no vehicle was measured for them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from axledger.job.layout import Axle, AxleKind, Layout, Unit
from axledger.job.settings import MountKind
from axledger_simulators.noise import Shape

__all__ = ["AxleTruth", "Ground", "PlantedFaults", "UnitTruth", "draw_ground", "draw_unit"]

_GAP_M = 3.0  # between uncoupled units, bumper lengths included roughly


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedFaults:
    """Say what is to be wrong; everything not named is drawn.

    ``deviations``, ``settings``, ``slope`` and ``unevenness`` multiply what is drawn (0: none of it). ``settings_of``
    does so for a kind of target ("hub"), instead of ``settings``. The mappings replace single draws: axles by
    ``"unit.axle"`` (yaw and toe in degrees, offset in mm), ``bent_mm`` by target name: a bias added along the vehicle,
    which turns with the target. Camber, caster and kingpin inclination (degrees, over the floor) go by
    ``"unit.axle.left"`` and right. ``slope_deg`` replaces the floor's slope (along, across). ``shapes`` are those of
    the distributions of setting errors, in turn.
    """

    deviations: float = 1.0
    settings: float = 1.0
    settings_of: Mapping[str, float] = field(default_factory=dict[str, float])
    slope: float = 1.0
    unevenness: float = 1.0
    yaw_deg: Mapping[str, float] = field(default_factory=dict[str, float])
    offset_mm: Mapping[str, float] = field(default_factory=dict[str, float])
    toe_deg: Mapping[str, float] = field(default_factory=dict[str, float])
    steering_deg: Mapping[str, float] = field(default_factory=dict[str, float])
    bent_mm: Mapping[str, float] = field(default_factory=dict[str, float])
    camber_deg: Mapping[str, float] = field(default_factory=dict[str, float])
    caster_deg: Mapping[str, float] = field(default_factory=dict[str, float])
    kpi_deg: Mapping[str, float] = field(default_factory=dict[str, float])
    slope_deg: tuple[float, float] | None = None
    shapes: tuple[Shape, ...] = ("normal",)


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleTruth:
    """One axle in vehicle axes: middle (m), yaw and the two wheel headings (rad, counter-clockwise positive)."""

    x_m: float
    y_m: float
    yaw_rad: float
    heading_left_rad: float
    heading_right_rad: float

    def heading_rad(self, side: int) -> float:
        """Return the heading of the wheel on ``side`` (+1 left, -1 right)."""
        return self.heading_left_rad if side > 0 else self.heading_right_rad


@dataclass(frozen=True, slots=True)
class UnitTruth:
    """The axles of a unit by code, and the coupling pin (x, y) in vehicle axes or ``None``."""

    axles: Mapping[str, AxleTruth]
    pin_m: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """How one unit stands in the world: the floor's slope, the unit's heading and its origin (m)."""

    along_rad: float
    across_rad: float
    heading_rad: float
    origin_m: tuple[float, float, float]


def _angle_deg(rng: np.random.Generator) -> float:
    """Draw an angle: 60 % good (sd 0.03), 25 % doubtful (0.08 to 0.2), 15 % bad (0.25 to 0.6), degrees."""
    share, normal, sign = rng.random(), rng.normal(0.0, 0.03), rng.choice((-1.0, 1.0))
    doubtful, bad = rng.uniform(0.08, 0.2), rng.uniform(0.25, 0.6)
    if share < 0.60:
        return float(normal)
    return float(sign * (doubtful if share < 0.85 else bad))


def _offset_mm(rng: np.random.Generator) -> float:
    """Draw an offset: sd 3 mm, one in eight 15 to 25 mm."""
    share, normal, sign, far = rng.random(), rng.normal(0.0, 3.0), rng.choice((-1.0, 1.0)), rng.uniform(15, 25)
    return float(normal if share < 0.875 else sign * far)


def _draw_axle(key: str, axle: Axle, rng: np.random.Generator, faults: PlantedFaults) -> AxleTruth:
    # every draw is made whatever is replaced, so that one replacement leaves the rest of the vehicle alone
    k = faults.deviations
    x_mm, offset_mm, yaw_deg = k * _offset_mm(rng), k * _offset_mm(rng), k * _angle_deg(rng)
    toe_deg, steering_deg = k * (0.05 + _angle_deg(rng)), k * float(rng.normal(0.0, 0.3))
    yaw = math.radians(faults.yaw_deg.get(key, yaw_deg))
    steer = axle.kind is AxleKind.STEER
    middle = math.radians(faults.steering_deg.get(key, steering_deg)) if steer else yaw
    half_toe = math.radians(faults.toe_deg.get(key, toe_deg)) / 2 if steer else 0.0
    return AxleTruth(
        x_m=axle.x_m + x_mm / 1000,
        y_m=faults.offset_mm.get(key, offset_mm) / 1000,
        yaw_rad=yaw,
        heading_left_rad=middle - half_toe,
        heading_right_rad=middle + half_toe,
    )


def draw_unit(unit: Unit, rng: np.random.Generator, faults: PlantedFaults) -> UnitTruth:
    """Draw the true axles and coupling pin of ``unit``."""
    axles = {axle.code: _draw_axle(f"{unit.id}.{axle.id}", axle, rng, faults) for axle in unit.axle}
    x_m, y_m = (float(part) * faults.deviations / 1000 for part in rng.normal(0.0, 2.0, 2))
    pin = next((mount for mount in unit.mount if mount.kind is MountKind.PIN), None)
    return UnitTruth(axles, None if pin is None else ((pin.x_m or 0.0) + x_m, pin.half_span_m + y_m))


def draw_ground(layout: Layout, rng: np.random.Generator, faults: PlantedFaults) -> tuple[Ground, ...]:
    """Draw one plane floor (slope sd 0.6 degrees each way) and stand the units on it in a row, uncoupled."""
    drawn = rng.normal(0.0, 0.6, 2) * faults.slope
    along, across = (math.radians(deg) for deg in (faults.slope_deg or (float(drawn[0]), float(drawn[1]))))
    heading = float(rng.uniform(-math.pi, math.pi))
    grounds: list[Ground] = []
    behind_m = 0.0
    for unit in layout.unit:
        places = [axle.x_m for axle in unit.axle] + [mount.x_m for mount in unit.mount if mount.x_m is not None]
        origin = (behind_m - max(places), 0.0, 0.0)
        grounds.append(Ground(along_rad=along, across_rad=across, heading_rad=heading, origin_m=origin))
        behind_m = origin[0] + min(places) - _GAP_M
    return tuple(grounds)
