"""The vehicle's network: stations on rigid units, distances between them, and every error as a parameter.

A station is a point of a wheel, an axle or the unit itself. Its local place is linear in the parameters
(half-spacings, target placements, straightedge ends), then turned by the steer wheel about its pivot, by the
axle's yaw about the axle's middle, and shifted where a plumbed drop hangs on a sloping floor:

    place = base + axle + R(yaw) (pivot + R(steer) local) + outer

Frame of a unit: ISO 8855, x forward, y left; heights are constants. A distance is the slope distance reduced
by the meter: reading = (distance - zero) / (1 + scale). An inclination reading is ``sign * slope + zero``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Array

__all__ = ["Distances", "Inclinations", "Points", "VehicleNetwork"]

Index = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """The stations of a job in all their states; ``k`` points, ``n`` parameters.

    ``axle_x``, ``axle_y``, ``axle_yaw``, ``steer`` ``(k,)``: parameter numbers; a number equal to ``n`` stands
    for the constant zero (a fixed datum, a wheel that does not steer). ``base`` and ``pivot`` ``(k, 2)`` m.
    ``local`` ``(k, 2)`` m and ``local_by`` ``(k, 2, n)``; ``outer_by`` ``(k, 2, n)``. ``height`` ``(k,)`` m.
    """

    axle_x: Index
    axle_y: Index
    axle_yaw: Index
    steer: Index
    base: Array
    pivot: Array
    local: Array
    local_by: Array
    outer_by: Array
    height: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Distances:
    """Distances between points; ``start`` and ``end`` ``(m,)`` point numbers, ``zero`` and ``scale`` parameters."""

    start: Index
    end: Index
    zero: Index
    scale: Index


@dataclass(frozen=True, slots=True, kw_only=True)
class Inclinations:
    """Inclinations; ``slope`` and ``zero`` ``(q,)`` parameter numbers, ``sign`` ``(q,)`` +1, or -1 turned round."""

    slope: Index
    zero: Index
    sign: Array


@dataclass(frozen=True, slots=True)
class VehicleNetwork:
    """Predict places and readings from the ``size`` parameters."""

    size: int
    points: Points
    distances: Distances
    inclinations: Inclinations

    def places(self, x: Array) -> tuple[Array, Array]:
        """Return the places of all points ``(k, 2)``, m, and their Jacobian ``(k, 2, n)``."""
        points, size = self.points, self.size
        padded = np.append(x, 0.0)
        rows = np.arange(len(points.height))
        local = points.local + points.local_by @ x
        by_local = np.zeros((len(rows), 2, size + 1))
        by_local[:, :, :size] = points.local_by
        arm, by_arm = _turn(padded[points.steer], points.steer, local, by_local)
        arm = arm + points.pivot
        place, by_place = _turn(padded[points.axle_yaw], points.axle_yaw, arm, by_arm)
        place = (
            place + points.base + np.stack((padded[points.axle_x], padded[points.axle_y]), axis=1) + points.outer_by @ x
        )
        by_place[rows, 0, points.axle_x] += 1.0
        by_place[rows, 1, points.axle_y] += 1.0
        return place, by_place[:, :, :size] + points.outer_by

    def predict(self, x: Array) -> tuple[Array, Array]:
        """Return the predicted readings (distances first, m; then inclinations, rad) and their Jacobian."""
        lengths, by_lengths = self._lengths(x)
        tilts, by_tilts = self._tilts(x)
        return np.concatenate((lengths, tilts)), np.concatenate((by_lengths, by_tilts))

    def _lengths(self, x: Array) -> tuple[Array, Array]:
        shots, size = self.distances, self.size
        place, by_place = self.places(x)
        line = place[shots.end] - place[shots.start]
        rise = self.points.height[shots.end] - self.points.height[shots.start]
        distance = np.sqrt(line[:, 0] ** 2 + line[:, 1] ** 2 + rise**2)
        by_distance = np.zeros((len(distance), size + 1))
        by_distance[:, :size] = np.einsum(
            "mc,mcn->mn", line / distance[:, None], by_place[shots.end] - by_place[shots.start]
        )
        padded = np.append(x, 0.0)
        stretch = 1.0 + padded[shots.scale]
        reading = (distance - padded[shots.zero]) / stretch
        by_reading = by_distance / stretch[:, None]
        rows = np.arange(len(distance))
        by_reading[rows, shots.zero] -= 1.0 / stretch
        by_reading[rows, shots.scale] -= reading / stretch
        return reading, by_reading[:, :size]

    def _tilts(self, x: Array) -> tuple[Array, Array]:
        shots, size = self.inclinations, self.size
        padded = np.append(x, 0.0)
        rows = np.arange(len(shots.sign))
        by_tilt = np.zeros((len(rows), size + 1))
        by_tilt[rows, shots.slope] += shots.sign
        by_tilt[rows, shots.zero] += 1.0
        return shots.sign * padded[shots.slope] + padded[shots.zero], by_tilt[:, :size]


def _turn(angle: Array, parameter: Index, arm: Array, by_arm: Array) -> tuple[Array, Array]:
    """Turn each arm ``(k, 2)`` by its angle ``(k,)``; carry the Jacobian ``(k, 2, n + 1)`` along."""
    cosine, sine = np.cos(angle), np.sin(angle)
    turned = np.stack((cosine * arm[:, 0] - sine * arm[:, 1], sine * arm[:, 0] + cosine * arm[:, 1]), axis=1)
    by_turned = np.stack(
        (
            cosine[:, None] * by_arm[:, 0] - sine[:, None] * by_arm[:, 1],
            sine[:, None] * by_arm[:, 0] + cosine[:, None] * by_arm[:, 1],
        ),
        axis=1,
    )
    rows = np.arange(len(angle))
    by_turned[rows, 0, parameter] -= turned[:, 1]
    by_turned[rows, 1, parameter] += turned[:, 0]
    return turned, by_turned
