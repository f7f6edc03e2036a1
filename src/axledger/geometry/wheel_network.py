"""Inclinations at the wheels as observations: on the wheel face, in the wheel plane, on a turning plate, on the frame.

A wheel stands in its unit's axes at heading ``d`` and inclination ``g`` (see ``attitude``), with the right wheel
mirrored. An instrument on its face sees ``n = e - a q + b h``: the spin axis ``e``, tilted by the run-out of rim
and clamp (``a`` up, ``b`` ahead; both change sign when the wheel has rolled half a turn), ``h`` ahead and ``q`` up in
the wheel plane. A level in the wheel plane lies along ``f = cos t h + sin t q``. Steering turns both about the
steering axis ``k``, by the angle that brings the wheel to the heading of its position. The floor's slopes give the
direction ``u`` of gravity in the unit's axes; readings are ``-asin(n.u / |n|)`` and ``asin(f.u)``, plus zero and
seating.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Array

__all__ = ["LOCAL", "FrameTilts", "PlateAngles", "WheelNetwork", "WheelTilts"]

Index = NDArray[np.int64]

LOCAL = (
    "along", "across", "yaw", "steer", "turned", "camber", "caster", "kingpin", "run-out up", "run-out ahead", "level",
    "zero", "seating",
)  # fmt: skip
"""What a reading at a wheel depends on, in the order of ``WheelTilts.parameters``."""
_CROSSED = np.array([[0.0, 0, 0, 0, 0, -1, 0, 1, 0], [0, 0, 1, 0, 0, 0, -1, 0, 0], [0, -1, 0, 1, 0, 0, 0, 0, 0]])
"""Turns a vector into the nine elements of the matrix of its cross product."""
_TURNED = 4
_CARRIED = (5, 6, 7, 8, 9, 10)  # camber to level, the columns after heading in ``_Sweep``


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelTilts:
    """Readings at wheels; ``parameters`` ``(q, 13)`` numbers in the order of ``LOCAL`` (the size: a constant zero).

    ``side`` ``(q,)`` +1 left, -1 right. ``rolled`` ``(q,)`` +1, or -1 after half a wheel turn. ``level`` ``(q,)``:
    in the wheel plane, else on the face. ``swept`` ``(q,)``: at a turned position, else straight ahead.
    """

    parameters: Index
    side: Array
    rolled: Array
    level: NDArray[np.bool_]
    swept: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateAngles:
    """Angles read off turning plates: ``sign * (turned - straight) + zero``; numbers ``(p,)`` of parameters."""

    turned: Index
    straight: Index
    zero: Index
    sign: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameTilts:
    """Inclinations along the frame, nose up positive: numbers ``(r,)`` of slope, pitch (nose down), zero, seating."""

    along: Index
    across: Index
    pitch: Index
    zero: Index
    seating: Index


@dataclass(frozen=True, slots=True)
class WheelNetwork:
    """Predict the readings at wheels, plates and frame, in this order, from the network's ``size`` parameters."""

    size: int
    tilts: WheelTilts
    plates: PlateAngles
    frames: FrameTilts
    _cells: Index = field(init=False, repr=False, compare=False)
    """Where the local derivatives stand in the Jacobian, rows of ``n + 1``: one local parameter after another."""

    def __post_init__(self) -> None:
        starts = np.arange(len(self.tilts.side)) * (self.size + 1)
        object.__setattr__(self, "_cells", (starts[:, None] + self.tilts.parameters).T.ravel())

    def predict(self, x: Array) -> tuple[Array, Array]:
        """Return the predicted readings, rad, and their Jacobian ``(rows, n)``."""
        padded = np.append(x, 0.0)
        parts = [self._wheels(padded), self._plates(padded), self._frames(padded)]
        readings, jacobians = zip(*parts, strict=True)
        return np.concatenate(readings), np.concatenate(jacobians)[:, : self.size]

    def _wheels(self, padded: Array) -> tuple[Array, Array]:
        tilts, size = self.tilts, self.size
        if not len(tilts.side):
            return np.zeros(0), np.zeros((0, size + 1))
        local = padded[tilts.parameters]
        readings, by_local = _seen(tilts, local)
        filled = np.bincount(self._cells, by_local.T.ravel(), minlength=len(readings) * (size + 1))
        return readings, np.asarray(filled, dtype=np.float64).reshape(len(readings), size + 1)

    def _plates(self, padded: Array) -> tuple[Array, Array]:
        plates = self.plates
        rows = np.arange(len(plates.sign))
        by_angle = np.zeros((len(rows), self.size + 1))
        by_angle[rows, plates.turned] += plates.sign
        by_angle[rows, plates.straight] -= plates.sign
        by_angle[rows, plates.zero] += 1.0
        return plates.sign * (padded[plates.turned] - padded[plates.straight]) + padded[plates.zero], by_angle

    def _frames(self, padded: Array) -> tuple[Array, Array]:
        frames = self.frames
        rows = np.arange(len(frames.pitch))
        up, by_along, by_across = _gravity(padded[frames.along], padded[frames.across], np.ones(len(rows)))
        cosine, sine = np.cos(padded[frames.pitch]), np.sin(padded[frames.pitch])
        rise = cosine * up[:, 0] - sine * up[:, 2]
        slope = 1.0 / np.sqrt(1.0 - rise**2)
        by_tilt = np.zeros((len(rows), self.size + 1))
        by_tilt[rows, frames.along] += slope * (cosine * by_along[:, 0] - sine * by_along[:, 2])
        by_tilt[rows, frames.across] -= slope * sine * by_across[:, 2]
        by_tilt[rows, frames.pitch] -= slope * (sine * up[:, 0] + cosine * up[:, 2])
        by_tilt[rows, frames.zero] += 1.0
        by_tilt[rows, frames.seating] += 1.0
        return np.arcsin(rise) + padded[frames.zero] + padded[frames.seating], by_tilt


def _gravity(along: Array, across: Array, side: Array) -> tuple[Array, Array, Array]:
    """Return "up" in (mirrored) unit axes ``(q, 3)`` and its derivatives by the floor's slopes."""
    ahead, aside = np.sin(along), side * np.sin(across)
    upward = np.sqrt(1.0 - ahead**2 - aside**2)
    none = np.zeros_like(ahead)
    by_along = np.stack((np.cos(along), none, -np.cos(along) * ahead / upward), axis=1)
    by_across = np.stack((none, side * np.cos(across), -side * np.cos(across) * aside / upward), axis=1)
    return np.stack((ahead, aside, upward), axis=1), by_along, by_across


def _seen(tilts: WheelTilts, local: Array) -> tuple[Array, Array]:
    """Return readings ``(q,)`` at wheels and their derivatives ``(q, 13)`` by the local parameters."""
    along, across, yaw, steer, turned, camber, caster, kingpin, up_run, ahead_run, level, zero, seating = local.T
    side = tilts.side
    straight: Array = side * (yaw + steer)
    heading: Array = side * (yaw + turned)
    body = _body(straight, camber, tilts.rolled * up_run, tilts.rolled * ahead_run, level, tilts.level)
    sweep = _Sweep.of(body, np.where(tilts.swept, heading, straight), caster, kingpin, tilts.swept)
    up, by_along, by_across = _gravity(along, across, side)
    length = np.where(tilts.level, 1.0, np.sqrt(1.0 + up_run**2 + ahead_run**2))
    rise = (sweep.carried * up).sum(axis=1) / length
    way = np.where(tilts.level, 1.0, -1.0)
    gain = way / np.sqrt(1.0 - rise**2) / length
    by_local = np.zeros((len(side), len(LOCAL)))
    by_local[:, 0] = (sweep.carried * by_along).sum(axis=1)
    by_local[:, 1] = (sweep.carried * by_across).sum(axis=1)
    heights = (sweep.by_own @ up[:, :, None])[:, :, 0]
    by_straight, by_heading = side * heights[:, 0], side * (sweep.by_heading * up).sum(axis=1)
    by_local[:, 2], by_local[:, 3], by_local[:, _TURNED] = by_straight + by_heading, by_straight, by_heading
    by_local[:, _CARRIED] = heights[:, 1:]
    by_local[:, 8:10] *= tilts.rolled[:, None]
    for column, run in ((8, up_run), (9, ahead_run)):  # the tilted normal is longer than one
        by_local[:, column] -= np.where(tilts.level, 0.0, rise * run / length)
    by_local *= gain[:, None]
    by_local[:, 11:] = 1.0
    return way * np.arcsin(rise) + zero + seating, by_local


@dataclass(frozen=True, slots=True)
class _Body:
    """What steering carries: the spin axis, and the direction that is read, straight ahead ``(q, 3)``.

    ``by_axis`` and ``by_read`` ``(q, 7, 3)``: derivatives by heading, camber, caster, kingpin, run-out up and ahead,
    and level (caster and kingpin do not act here and stay zero).
    """

    axis: Array
    read: Array
    by_axis: Array
    by_read: Array


def _body(
    heading: Array, camber: Array, up_run: Array, ahead_run: Array, level: Array, in_plane: NDArray[np.bool_]
) -> _Body:
    cd, sd, cg, sg = (f(a)[:, None] for a in (heading, camber) for f in (np.cos, np.sin))
    x, y, z = np.eye(3)
    axis = -cg * sd * x + cg * cd * y - sg * z
    up = -sg * sd * x + sg * cd * y + cg * z
    ahead, aside = cd * x + sd * y, -sd * x + cd * y  # aside: how ``ahead`` turns with the heading
    axis_turns, up_turns = -cg * ahead, -sg * ahead
    ct, st, a, b = np.cos(level)[:, None], np.sin(level)[:, None], up_run[:, None], ahead_run[:, None]
    plane, none = in_plane[:, None], np.zeros_like(axis)
    by_read = (
        np.where(plane, ct * aside + st * up_turns, axis_turns - a * up_turns + b * aside),
        np.where(plane, st * axis, -up - a * axis),
        none,
        none,
        np.where(plane, 0.0, -up),
        np.where(plane, 0.0, ahead),
        np.where(plane, ct * up - st * ahead, 0.0),
    )
    return _Body(
        axis=axis,
        read=np.where(plane, ct * ahead + st * up, axis - a * up + b * ahead),
        by_axis=np.stack((axis_turns, -up, none, none, none, none, none), axis=1),
        by_read=np.stack(by_read, axis=1),
    )


@dataclass(frozen=True, slots=True)
class _Sweep:
    """The direction that is read after steering ``(q, 3)`` and its derivatives.

    ``by_own`` ``(q, 7, 3)`` by straight heading, camber, caster, kingpin, run-out and level, the final heading held;
    ``by_heading`` ``(q, 3)`` by the final heading.
    """

    carried: Array
    by_own: Array
    by_heading: Array

    @classmethod
    def of(cls, body: _Body, heading: Array, caster: Array, kingpin: Array, swept: NDArray[np.bool_]) -> _Sweep:
        axis, by_axis = _steering_axis(caster, kingpin)
        turn = np.where(swept, _turn_to(body.axis, heading, caster, kingpin, axis), 0.0)
        matrix = _rotation(axis, turn).transpose(0, 2, 1)
        # both directions and their derivatives, turned at once: (q, 2, 3) and (q, 2, 7, 3)
        before = np.stack((body.read, body.axis), axis=1)
        after = before @ matrix
        by_own = np.stack((body.by_read, body.by_axis), axis=1) @ matrix[:, None]
        for column, change in zip((2, 3), by_axis, strict=True):
            tilt = -_crossed(_crossed(axis) @ change[:, :, None])  # by it, for rows, the axis goes to its new place
            by_own[:, :, column] += after @ tilt - before @ tilt @ matrix
        read, spin = after[:, 0], after[:, 1]
        # the angle about the axis follows from the heading, which changes by ``across . dspin``
        across = np.stack((-spin[:, 1], spin[:, 0], np.zeros(len(spin))), axis=1)
        across /= (spin[:, :2] ** 2).sum(axis=1)[:, None]
        by_turn = after @ -_crossed(axis)  # axis x direction, the directions being rows
        inverse = np.where(swept, 1.0 / (across * by_turn[:, 1]).sum(axis=1), 0.0)
        turning = by_turn[:, 0] * inverse[:, None]
        held = by_own[:, 1] @ across[:, :, None]
        return cls(read, by_own[:, 0] - held * turning[:, None, :], turning)


def _crossed(vectors: Array) -> Array:
    """Return the matrices ``(q, 3, 3)`` with ``matrix @ v`` the cross product of ``vectors`` ``(q, 3)`` and ``v``."""
    crossed: Array = (vectors.reshape(-1, 3) @ _CROSSED).reshape(-1, 3, 3)
    return crossed


def _steering_axis(caster: Array, kingpin: Array) -> tuple[Array, tuple[Array, Array]]:
    """Return the unit steering axes ``(q, 3)`` and their derivatives by caster and kingpin inclination."""
    ahead, inward = -np.tan(caster), -np.tan(kingpin)
    length = np.sqrt(1.0 + ahead**2 + inward**2)
    axis = np.stack((ahead, inward, np.ones_like(ahead)), axis=1) / length[:, None]
    changes: list[Array] = []
    for component, tangent in ((0, ahead), (1, inward)):
        rate = -(1.0 + tangent**2) / length
        change = -axis * (axis[:, component] * rate)[:, None]
        change[:, component] += rate
        changes.append(change)
    return axis, (changes[0], changes[1])


def _turn_to(spin: Array, heading: Array, caster: Array, kingpin: Array, axis: Array) -> Array:
    """Return the angles ``(q,)`` about the steering axes that bring the spin axes to ``heading``."""
    ahead, inward = np.tan(caster), np.tan(kingpin)
    constant = -ahead * spin[:, 0] - inward * spin[:, 1] + spin[:, 2]
    slant = ahead * np.sin(heading) - inward * np.cos(heading)
    camber = np.arccos(constant / np.hypot(1.0, slant)) - np.arctan2(1.0, slant)
    level = np.cos(camber)
    after = np.stack((-level * np.sin(heading), level * np.cos(heading), -np.sin(camber)), axis=1)
    along = (axis * spin).sum(axis=1)
    sine = (axis * (_crossed(spin) @ after[:, :, None])[:, :, 0]).sum(axis=1)
    turn: Array = np.arctan2(sine, (spin * after).sum(axis=1) - along**2)
    return turn


def _rotation(axis: Array, turn: Array) -> Array:
    """Return the matrices ``(q, 3, 3)`` of turns about unit axes (Rodrigues' formula)."""
    cosine, sine = np.cos(turn)[:, None, None], np.sin(turn)[:, None, None]
    outer = axis[:, :, None] * axis[:, None, :]
    return np.asarray(np.eye(3) * cosine + _crossed(axis) * sine + outer * (1.0 - cosine), dtype=np.float64)
