"""A simulated vehicle: true axles in three dimensions, and where every station really is.

Ground truth is built with rotation matrices and shares nothing with the solver.

How a slope moves a plumbed target. World z is up. The matrix R of `rotation.floor_axes` takes vehicle axes to
world axes; its third row (sin along, sin across, cos of the steepest slope) is "up" in vehicle axes, so gravity
there is minus that row. A plumb line of length d fixed at p ends at p + d * gravity:
    dx = -d sin(along)    nose up (along > 0): the bob hangs rearward
    dy = -d sin(across)   left end higher (across > 0): the bob hangs toward the right
    dz = -d cos(steepest)
Rigid feet (``drop_m`` = 0) lean with the vehicle and do not move in vehicle axes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from axledger.contract.errors import UnknownName
from axledger.job.layout import AxleKind, Layout, Station, Unit, stations_of
from axledger.job.settings import MountKind
from axledger.job.tilts import FRAME_TILT, WHEEL_TILTS
from axledger_simulators.hanging import HungTarget
from axledger_simulators.noise import Shape
from axledger_simulators.planting import Ground, PlantedFaults, UnitTruth, draw_ground, draw_unit
from axledger_simulators.rotation import Matrix, Vector, about_z, floor_axes
from axledger_simulators.true_results import true_results
from axledger_simulators.wheels import UnitWheels, draw_wheels

__all__ = ["SimulatedVehicle", "StandingUnit"]

_UNEVEN_M = 0.002
_SWINGING = (MountKind.HUB, MountKind.STRAIGHTEDGE)  # what is fixed to a wheel and turns with its steering


class StandingUnit:
    """One unit of the layout as it stands: ``truth``, ``axes`` (3, 3) to world, ``origin_m`` (3,) in the world."""

    def __init__(self, truth: UnitTruth, ground: Ground, frame_axes: Matrix) -> None:
        self.truth = truth
        self.ground = ground
        self.axes = frame_axes
        self.origin_m: Vector = frame_axes @ np.array(ground.origin_m)

    def to_world(self, place_m: Vector) -> Vector:
        """Return the world place (3,) of a place in vehicle axes, m."""
        world: Vector = self.origin_m + self.axes @ place_m
        return world

    def to_axes(self, world_m: Vector) -> Vector:
        """Return the place (3,) in vehicle axes of a place in the world, m."""
        place: Vector = self.axes.T @ (world_m - self.origin_m)
        return place


class SimulatedVehicle:
    """A vehicle with its targets hung; see the module for the signs of slopes. Build it with ``build``."""

    def __init__(
        self,
        layout: Layout,
        units: Mapping[str, StandingUnit],
        targets: Mapping[str, HungTarget],
        *,
        span_m: Mapping[str, float],
        uneven_m: Mapping[str, float],
        wheels: Mapping[str, UnitWheels],
    ) -> None:
        self.layout = layout
        self.units = units
        self._targets = targets
        self._span_m = span_m
        self._uneven_m = uneven_m
        self._wheels = wheels
        self._places: dict[str, tuple[UnitTruth, int, Vector]] = {}
        self._stations = {s.name: (unit.id, s) for unit in layout.unit for s in stations_of(unit)}

    @classmethod
    def build(
        cls, layout: Layout, seed: int, *, faults: PlantedFaults | None = None, kit_seed: int | None = None
    ) -> SimulatedVehicle:
        """Draw a vehicle. ``kit_seed`` keeps the targets (their biases and ends) the same over several vehicles."""
        wrong = faults or PlantedFaults()
        grounds = draw_ground(layout, _stream(seed, 0), wrong)
        units = {
            unit.id: StandingUnit(draw_unit(unit, _stream(seed, 1, n), wrong), ground, _axes(ground))
            for n, (unit, ground) in enumerate(zip(layout.unit, grounds, strict=True))
        }
        stations = [station for unit in layout.unit for station in stations_of(unit)]
        kit = seed if kit_seed is None else kit_seed
        targets: dict[str, HungTarget] = {}
        for station in stations:
            if station.target not in targets:
                targets[station.target] = HungTarget(
                    station.mount.stated,
                    made=_stream(kit, 2, len(targets)),
                    hung=_stream(seed, 3, len(targets)),
                    factor=_factor(station.mount.kind, wrong),
                    bent_m=wrong.bent_mm.get(station.target, 0.0) / 1000,
                    shapes=_rolled(wrong.shapes, len(targets)),
                )
        spans, levels = _stream(seed, 4), _stream(seed, 5)
        span_m = {
            owner: float(spans.normal()) * sd_mm * min(1.0, wrong.settings) / 1000
            for owner, sd_mm in {_owner(s): s.mount.stated.span for s in stations}.items()
        }
        uneven_m = {s.name: float(levels.uniform(-_UNEVEN_M, _UNEVEN_M)) * wrong.unevenness for s in stations}
        wheels = {unit.id: _wheels(unit, _stream(seed, 7, n), wrong) for n, unit in enumerate(layout.unit)}
        return cls(layout, units, targets, span_m=span_m, uneven_m=uneven_m, wheels=wheels)

    @property
    def states(self) -> dict[str, int]:
        """Return the half turns made so far by target; odd means turned."""
        return {name: target.half_turns for name, target in self._targets.items()}

    def turn(self, target: str) -> None:
        """Turn ``target`` by half a turn; raise ``UnknownName`` for a name that no target has."""
        self.hung(target).turn()

    def hang(self, target: str) -> None:
        """Take ``target`` off and hang it again the same side up."""
        self.hung(target).hang()

    def hung(self, target: str) -> HungTarget:
        """Return a target as it hangs; raise ``UnknownName``."""
        try:
            return self._targets[target]
        except KeyError as error:
            raise UnknownName("target", target, sorted(self._targets)) from error

    def station(self, name: str) -> tuple[str, Station]:
        """Return the unit's id and the station called ``name``; raise ``UnknownName``."""
        try:
            return self._stations[name]
        except KeyError as error:
            raise UnknownName("station", name, sorted(self._stations)) from error

    def stations(self, unit_id: str) -> tuple[Station, ...]:
        """Return the stations of one unit."""
        return tuple(station for owner, station in self._stations.values() if owner == unit_id)

    def place(self, name: str) -> Vector:
        """Return where a station is in the world, (3,) float64, m, in the present states of all targets."""
        unit_id, station = self.station(name)
        unit = self.units[unit_id]
        drop_m = station.mount.drop_m
        held = self._held_at(unit.truth, station) + np.array([0.0, 0.0, drop_m])
        place: Vector = unit.to_world(held) + np.array([0.0, 0.0, -drop_m])
        return place

    def place_in_axes(self, name: str) -> Vector:
        """Return where a station is in its unit's axes, (3,), m."""
        unit_id, station = self.station(name)
        unit, version = self.units[unit_id], self._targets[station.target].version
        known = self._places.get(name)
        # asked for every target at every beam, and hardly any of them has moved since
        if known is None or known[0] is not unit.truth or known[1] != version:
            known = self._places[name] = (unit.truth, version, unit.to_axes(self.place(name)))
        return known[2]

    def inclination(self, name: str, tilt: str) -> float:
        """Return what an ideal instrument reads at station ``name``, rad, as the instrument lies for ``tilt``.

        At a floor mount "along" is the floor's slope, nose up positive, and "across" left end higher positive;
        "-turned" after it reverses the sign, for the instrument turned end for end. For the rest see ``wheels``.
        """
        unit_id, station = self.station(name)
        unit, direction = self.units[unit_id], tilt.removesuffix("-turned")
        slopes = {"along": unit.ground.along_rad, "across": unit.ground.across_rad}
        if direction in slopes:
            return -slopes[direction] if tilt.endswith("-turned") else slopes[direction]
        if tilt not in {FRAME_TILT, *WHEEL_TILTS}:
            known = [slope + turned for slope in slopes for turned in ("", "-turned")]
            raise UnknownName("inclination", tilt, [*known, FRAME_TILT, *sorted(WHEEL_TILTS)])
        wheels = self._wheels[unit_id]
        return wheels.reading(station.axle, station.side, tilt, truth=unit.truth, world=unit.axes)

    def move_axles(self, unit_id: str, *, along_m: float, across_m: float, yaw_rad: float) -> None:
        """Move all axles of a unit, as one, against its frame: the vehicle settled or was bumped."""
        unit = self.units[unit_id]
        c, s = math.cos(yaw_rad), math.sin(yaw_rad)
        axles = {
            code: replace(
                axle,
                x_m=c * axle.x_m - s * axle.y_m + along_m,
                y_m=s * axle.x_m + c * axle.y_m + across_m,
                yaw_rad=axle.yaw_rad + yaw_rad,
                heading_left_rad=axle.heading_left_rad + yaw_rad,
                heading_right_rad=axle.heading_right_rad + yaw_rad,
            )
            for code, axle in unit.truth.axles.items()
        }
        unit.truth = replace(unit.truth, axles=axles)

    def truth(self) -> dict[str, float]:
        """Return every result of every unit in SI (rad, m), keyed like the program's own results."""
        found: dict[str, float] = {}
        for unit in self.layout.unit:
            standing = self.units[unit.id]
            found.update(true_results(unit, standing.truth, standing.to_world))
            found.update(self._wheels[unit.id].results(standing.truth))
        return found

    def _held_at(self, truth: UnitTruth, station: Station) -> Vector:
        """Return the station's place in vehicle axes with the floor level, m."""
        mount, target = station.mount, self._targets[station.target]
        height = mount.height_m + self._uneven_m[station.name]
        reach = {"front": 1.0, "rear": -1.0}.get(station.part, 0.0)
        along, across = reach * (mount.half_length_m or 0.0) + target.along_m, target.across_m
        if reach:
            outward, sideways = target.end_m(front=reach > 0)
            along, across = along + reach * outward, across + sideways
        out = station.side * (mount.half_span_m + self._span_m[_owner(station)])
        if station.axle is None:
            x, y = (mount.x_m or 0.0, mount.half_span_m if station.side == 0 else 0.0)
            if mount.kind is MountKind.PIN and truth.pin_m is not None:
                x, y = truth.pin_m
            return np.array([x + along, y + out + across, height])
        axle = truth.axles[station.axle.code]
        middle = np.array([axle.x_m, axle.y_m, 0.0])
        if station.axle.kind is not AxleKind.STEER or mount.kind not in _SWINGING:
            on_beam: Vector = middle + about_z(axle.yaw_rad) @ np.array([along, out + across, height])
            return on_beam
        pivot = station.side * (station.axle.pivot_half_m or 0.0)
        wheel = about_z(axle.heading_rad(station.side)) @ np.array([along, out - pivot + across, height])
        held: Vector = middle + about_z(axle.yaw_rad) @ np.array([0.0, pivot, 0.0]) + wheel
        return held


def _factor(kind: MountKind, wrong: PlantedFaults) -> float:
    """Return by how much a target's settings are worse; a pin's stem is the vehicle's and no setting."""
    factor = wrong.settings_of.get(kind.value, wrong.settings)
    return factor if kind is not MountKind.PIN else min(1.0, factor)


def _stream(*key: int) -> np.random.Generator:
    return np.random.default_rng(list(key))


def _wheels(unit: Unit, rng: np.random.Generator, wrong: PlantedFaults) -> UnitWheels:
    wheels, pitch_rad = draw_wheels(unit, rng, wrong)
    return UnitWheels(unit, wheels, pitch_rad, float(rng.normal(0.0, math.radians(0.02))) * wrong.settings)


def _rolled(shapes: tuple[Shape, ...], by: int) -> tuple[Shape, ...]:
    """Begin with another shape for each target, so that no part of the setting has one shape everywhere."""
    start = by % len(shapes)
    return shapes[start:] + shapes[:start]


def _axes(ground: Ground) -> Matrix:
    return floor_axes(heading_rad=ground.heading_rad, along_rad=ground.along_rad, across_rad=ground.across_rad)


def _owner(station: Station) -> str:
    """Name what left and right share: the target's name without its side."""
    code = station.axle.code if station.axle is not None else station.mount.code
    return f"{code} {station.mount.kind.value}"
