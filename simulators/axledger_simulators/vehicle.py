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

from collections.abc import Mapping

import numpy as np

from axledger.contract.errors import UnknownName
from axledger.job.layout import AxleKind, Layout, Station, stations_of
from axledger.job.settings import MountKind
from axledger_simulators.hanging import HungTarget
from axledger_simulators.planting import Ground, PlantedFaults, UnitTruth, draw_ground, draw_unit
from axledger_simulators.rotation import Matrix, Vector, about_z, floor_axes
from axledger_simulators.true_results import true_results

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
    ) -> None:
        self.layout = layout
        self.units = units
        self._targets = targets
        self._span_m = span_m
        self._uneven_m = uneven_m
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
                    factor=wrong.settings,
                    bent_m=wrong.bent_mm.get(station.target, 0.0) / 1000,
                )
        spans, levels = _stream(seed, 4), _stream(seed, 5)
        span_m = {
            owner: float(spans.normal()) * sd_mm * wrong.settings / 1000
            for owner, sd_mm in {_owner(s): s.mount.stated.span for s in stations}.items()
        }
        uneven_m = {s.name: float(levels.uniform(-_UNEVEN_M, _UNEVEN_M)) * wrong.unevenness for s in stations}
        return cls(layout, units, targets, span_m=span_m, uneven_m=uneven_m)

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
        unit = self.units[self.station(name)[0]]
        return unit.to_axes(self.place(name))

    def inclination(self, name: str, tilt: str) -> float:
        """Return the floor's true slope at floor mount ``name``, rad, as an inclinometer on the floor beam sees it.

        ``tilt`` is "along" (nose up positive) or "across" (left end higher positive); "-turned" after it
        reverses the sign, for the instrument turned end for end.
        """
        ground = self.units[self.station(name)[0]].ground
        slopes = {"along": ground.along_rad, "across": ground.across_rad}
        direction = tilt.removesuffix("-turned")
        if direction not in slopes:
            known = [name + turned for name in slopes for turned in ("", "-turned")]
            raise UnknownName("inclination", tilt, known)
        return -slopes[direction] if tilt.endswith("-turned") else slopes[direction]

    def truth(self) -> dict[str, float]:
        """Return every result of every unit in SI (rad, m), keyed like the program's own results."""
        return {
            key: value
            for unit in self.layout.unit
            for key, value in true_results(unit, self.units[unit.id].truth, self.units[unit.id].to_world).items()
        }

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


def _stream(*key: int) -> np.random.Generator:
    return np.random.default_rng(list(key))


def _axes(ground: Ground) -> Matrix:
    return floor_axes(heading_rad=ground.heading_rad, along_rad=ground.along_rad, across_rad=ground.across_rad)


def _owner(station: Station) -> str:
    """Name what left and right share: the target's name without its side."""
    code = station.axle.code if station.axle is not None else station.mount.code
    return f"{code} {station.mount.kind.value}"
