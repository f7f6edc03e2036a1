"""The vehicle's network: stations on rigid units, distances between them, and every error as a parameter.

A station is a point of a wheel, an axle or the unit itself. Its local place is linear in the parameters
(half-spacings, target placements, straightedge ends), then turned by the steer wheel about its pivot, by the
axle's yaw about the axle's middle, and shifted where a plumbed drop hangs on a sloping floor:

    place = base + axle + R(yaw) (pivot + R(steer) local) + outer

Frame of a unit: ISO 8855, x forward, y left; heights are constants. A distance is the slope distance reduced
by the meter: reading = (distance - zero) / (1 + scale). An inclination reading is ``sign * slope + zero``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Array
from axledger.geometry.wheel_network import WheelNetwork

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
    wheels: WheelNetwork | None = None
    _terms: tuple[Index, Array] = field(init=False, repr=False, compare=False)
    """The terms linear in the parameters, local to each shot's end, to its start, and outer: where the component of
    the shot's direction stands in ``(m, 6)``, counted through, and the factor. Nearly all others are zero."""
    _cells: Index = field(init=False, repr=False, compare=False)
    """Where turns and shifts of both ends, zero, scale, then the terms stand in the Jacobian: rows of ``n + 1``."""

    def __post_init__(self) -> None:
        points, shots = self.points, self.distances
        outer = points.outer_by[shots.end] - points.outer_by[shots.start]
        local = (points.local_by[shots.end], points.local_by[shots.start])
        by_shot = np.concatenate((*local, outer), axis=1)
        row, component, parameter = np.nonzero(by_shot)
        object.__setattr__(self, "_terms", (row * 6 + component, by_shot[row, component, parameter]))
        columns = [
            parameter[end]
            for _, end in self._ends()
            for parameter in (points.steer, points.axle_yaw, points.axle_x, points.axle_y)
        ]
        starts = np.arange(len(shots.end)) * (self.size + 1)
        single = [starts + column for column in (*columns, shots.zero, shots.scale)]
        object.__setattr__(self, "_cells", np.concatenate([*single, row * (self.size + 1) + parameter]))

    def places(self, x: Array) -> tuple[Array, Array]:
        """Return the places of all points ``(k, 2)``, m, and their Jacobian ``(k, 2, n)``."""
        points, size = self.points, self.size
        padded = np.append(x, 0.0)
        wheel, arm, place = self._arms(x, padded)
        rows = np.arange(len(points.height))
        by_place = np.zeros((len(rows), 2, size + 1))
        by_place[:, :, :size] = points.outer_by
        by_place[:, :, :size] += _turned(padded[points.axle_yaw] + padded[points.steer], points.local_by)
        for parameter, lever in ((points.steer, wheel), (points.axle_yaw, arm)):
            by_place[rows, 0, parameter] -= lever[:, 1]
            by_place[rows, 1, parameter] += lever[:, 0]
        by_place[rows, 0, points.axle_x] += 1.0
        by_place[rows, 1, points.axle_y] += 1.0
        return place, by_place[:, :, :size]

    def _arms(self, x: Array, padded: Array) -> tuple[Array, Array, Array]:
        """Return what the steering turns, what the yaw turns, as they stand, and the places; all ``(k, 2)``, m."""
        points = self.points
        yaw = padded[points.axle_yaw]
        # R(yaw) (pivot + R(steer) local) = R(yaw) pivot + R(yaw + steer) local
        wheel = _turned(yaw + padded[points.steer], points.local + points.local_by @ x)
        arm = wheel + _turned(yaw, points.pivot)
        axle = np.stack((padded[points.axle_x], padded[points.axle_y]), axis=1)
        return wheel, arm, arm + points.base + axle + points.outer_by @ x

    def predict(self, x: Array) -> tuple[Array, Array]:
        """Return readings and their Jacobian: distances, m, then the floor's inclinations and the wheels', rad."""
        lengths, by_lengths = self._lengths(x)
        tilts, by_tilts = self._tilts(x)
        if self.wheels is not None:
            at_wheels, by_wheels = self.wheels.predict(x)
            return np.concatenate((lengths, tilts, at_wheels)), np.concatenate((by_lengths, by_tilts, by_wheels))
        return np.concatenate((lengths, tilts)), np.concatenate((by_lengths, by_tilts))

    def _lengths(self, x: Array) -> tuple[Array, Array]:
        shots, points, size = self.distances, self.points, self.size
        padded = np.append(x, 0.0)
        yaw = padded[points.axle_yaw]
        wheel, arm, place = self._arms(x, padded)
        line = place[shots.end] - place[shots.start]
        rise = points.height[shots.end] - points.height[shots.start]
        distance = np.sqrt(line[:, 0] ** 2 + line[:, 1] ** 2 + rise**2)
        unit = line / distance[:, None]
        stretch = 1.0 + padded[shots.scale]
        reading = (distance - padded[shots.zero]) / stretch
        # the direction is turned back to each end's own axes, which is cheaper than turning what is local there
        back = [sign * _turned(-(yaw + padded[points.steer])[end], unit) for sign, end in self._ends()]
        place_of, factor = self._terms
        single: list[Array] = []
        for sign, end in self._ends():
            for lever in (wheel, arm):
                single.append(sign * (unit[:, 1] * lever[end, 0] - unit[:, 0] * lever[end, 1]))
            single += [sign * unit[:, 0], sign * unit[:, 1]]
        single += [np.full(len(reading), -1.0), -reading]
        single.append(np.concatenate((*back, unit), axis=1).ravel()[place_of] * factor)
        filled = np.bincount(self._cells, np.concatenate(single), minlength=len(reading) * (size + 1))
        by_reading = filled.reshape(len(reading), size + 1)[:, :size] / stretch[:, None]
        return reading, by_reading

    def _ends(self) -> tuple[tuple[float, Index], tuple[float, Index]]:
        return (1.0, self.distances.end), (-1.0, self.distances.start)

    def _tilts(self, x: Array) -> tuple[Array, Array]:
        shots, size = self.inclinations, self.size
        padded = np.append(x, 0.0)
        rows = np.arange(len(shots.sign))
        by_tilt = np.zeros((len(rows), size + 1))
        by_tilt[rows, shots.slope] += shots.sign
        by_tilt[rows, shots.zero] += 1.0
        return shots.sign * padded[shots.slope] + padded[shots.zero], by_tilt[:, :size]


def _turned(angle: Array, arms: Array) -> Array:
    """Return ``arms`` ``(k, 2, ...)`` turned counter-clockwise, each by its angle ``(k,)``."""
    shape = (-1, *[1] * (arms.ndim - 2))
    cosine, sine = np.cos(angle).reshape(shape), np.sin(angle).reshape(shape)
    turned = np.empty_like(arms)
    turned[:, 0] = cosine * arms[:, 0] - sine * arms[:, 1]
    turned[:, 1] = sine * arms[:, 0] + cosine * arms[:, 1]
    return turned
