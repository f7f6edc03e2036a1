"""From a layout's stops at the wheels to the network: cambers, steering axes, turned angles and their errors.

The sds are working figures of our own, wide where the readings decide. Only what a job's walk offers has parameters,
so a job without these parts has the network it would have had.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import Quantity
from axledger.geometry.results import AxleGeometry, UnitGeometry
from axledger.geometry.wheel_network import LOCAL, FrameTilts, PlateAngles, WheelNetwork, WheelTilts
from axledger.geometry.wheel_results import AxleWheels, SteeredAxle
from axledger.job.layout import Axle, Layout, Station, Unit, stations_of
from axledger.job.lines import Tilt
from axledger.job.tilts import FRAME_TILT, SWEEP_TILTS, WHEEL_TILTS, position_of, role_of_tilt

__all__ = ["NO_LEVEL", "WheelPriors", "Wheels", "in_order", "wheels_of"]

NO_LEVEL = (
    "kingpin inclination needs the level in the wheel plane, brake on, at both turned positions; from camber readings "
    "alone it would be ten times less certain than caster"
)
"""Why a kingpin inclination is not determined (an error of 0.05 deg in each camber reading makes 1 deg of it)."""
_LETTERS = {1: "L", -1: "R"}


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelPriors:
    """What is thought of a wheel before it is read: means and sds, rad."""

    camber_rad: float = math.radians(1.5)
    caster_mean_rad: float = math.radians(3.0)
    caster_rad: float = math.radians(4.0)
    kingpin_mean_rad: float = math.radians(6.0)
    kingpin_rad: float = math.radians(4.0)
    run_out_rad: float = math.radians(0.2)
    """Of rim and clamp, each component."""
    level_rad: float = math.radians(2.0)
    """How far from level the level in the wheel plane is set, straight ahead."""
    turn_mean_rad: float = math.radians(20.0)
    turn_rad: float = math.radians(8.0)
    pitch_rad: float = math.radians(1.5)
    seating_rad: float = math.radians(0.02)
    """How well the instrument is laid on, anew at every stop."""


class Parameters(Protocol):
    """Makes a parameter at the first call with its name and returns its number, -1 for one known to be zero."""

    def add(self, name: str, sd: float, mean: float = 0.0) -> int:
        """Return the number of parameter ``name``."""
        ...


def in_order(tilts: Iterable[Tilt]) -> tuple[Tilt, ...]:
    """Return inclinations as the network has them: the floor's, at wheels, on plates, on frames."""
    return tuple(sorted(tilts, key=_group))


def _group(tilt: Tilt) -> int:
    if tilt.name == FRAME_TILT:
        return 3
    if tilt.name not in WHEEL_TILTS:
        return 0
    return 2 if role_of_tilt(tilt.name) == "plate" else 1


@dataclass(slots=True)
class Wheels:
    """The parameters of all wheels of a job; numbers of -1 stand for a constant zero."""

    zero: int
    """Of the inclinometer."""
    rows: dict[Tilt, tuple[int, ...]] = field(default_factory=dict[Tilt, tuple[int, ...]])
    sides: dict[Tilt, int] = field(default_factory=dict[Tilt, int])
    axles: dict[tuple[str, str], AxleWheels] = field(default_factory=dict[tuple[str, str], AxleWheels])
    pitches: dict[str, int] = field(default_factory=dict[str, int])
    needs: dict[str, frozenset[Tilt]] = field(default_factory=dict[str, frozenset[Tilt]])
    """Readings without which a result is not determined, whatever its covariance says."""

    def network(self, tilts: Sequence[Tilt], size: int) -> WheelNetwork | None:
        """Return the network of the readings ``tilts`` (in order, the floor's left out), or ``None`` for none."""
        parts = [[tilt for tilt in tilts if _group(tilt) == group] for group in (1, 2, 3)]
        if not any(parts):
            return None
        wheels, plates, frames = (self._numbers(part, size) for part in parts)
        wheels = wheels.reshape(-1, len(LOCAL))
        plates, frames = plates.reshape(-1, 3), frames.reshape(-1, 5)
        names = [tilt.name for tilt in parts[0]]
        return WheelNetwork(
            size,
            WheelTilts(
                parameters=wheels,
                side=np.array([float(self.sides[tilt]) for tilt in parts[0]]),
                rolled=np.array([-1.0 if name == "face-rolled" else 1.0 for name in names]),
                level=np.array([name.startswith("level-") for name in names], dtype=np.bool_),
                swept=np.array([name in SWEEP_TILTS for name in names], dtype=np.bool_),
            ),
            PlateAngles(
                turned=plates[:, 0], straight=plates[:, 1], zero=plates[:, 2],
                sign=np.array([_plate_sign(tilt, self.sides[tilt]) for tilt in parts[1]]),
            ),
            FrameTilts(along=frames[:, 0], across=frames[:, 1], pitch=frames[:, 2], zero=frames[:, 3],
                       seating=frames[:, 4]),
        )  # fmt: skip

    def _numbers(self, tilts: Sequence[Tilt], size: int) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
        return np.array([self.rows[tilt] for tilt in tilts], dtype=np.int64) % (size + 1)

    def fitted(self, unit: UnitGeometry, codes: Mapping[str, str]) -> UnitGeometry:
        """Return ``unit`` with its wheels; ``codes`` maps an axle's id to its code."""
        axles = tuple(self._fitted(unit.id, axle, codes[axle.id]) for axle in unit.axles)
        return replace(unit, axles=axles, pitch=self.pitches.get(unit.id))

    def _fitted(self, unit: str, axle: AxleGeometry, code: str) -> AxleGeometry:
        return replace(axle, wheels=self.axles.get((unit, code)))


def _plate_sign(tilt: Tilt, side: int) -> float:
    return float(side) if position_of(tilt.name) == "out" else -float(side)


def wheels_of(
    parameters: Parameters, layout: Layout, tilts: Collection[Tilt], *, zero: int, plate: Instrument | None,
    priors: WheelPriors | None = None,
) -> Wheels:  # fmt: skip
    """Make the parameters that the wheel readings ``tilts`` (read, planned or offered) depend on."""
    wheels = Wheels(zero)
    stated = priors or WheelPriors()
    for unit in layout.unit:
        own = sorted({tilt for tilt in tilts if tilt.unit == unit.id and _group(tilt)}, key=repr)
        if own:
            _Unit(parameters, unit, wheels, stated, _plate_zero(plate)).add(own)
    return wheels


def _plate_zero(plate: Instrument | None) -> float:
    record = plate.quantities.get(Quantity.INCLINATION) if plate is not None else None
    return record.u_zero if record is not None else 0.0


@dataclass(frozen=True, slots=True)
class _Unit:
    """Adds the wheels of one unit."""

    parameters: Parameters
    unit: Unit
    wheels: Wheels
    priors: WheelPriors
    plate_zero_rad: float

    def add(self, tilts: Sequence[Tilt]) -> None:
        stations = {station.name: station for station in stations_of(self.unit)}
        for axle in self.unit.axle:
            own = [tilt for tilt in tilts if (at := stations[tilt.at].axle) is not None and at.code == axle.code]
            if own:
                self._axle(axle, own, stations)
        for tilt in tilts:
            if tilt.name == FRAME_TILT:
                self.wheels.pitches[self.unit.id] = self._own("frame.pitch", self.priors.pitch_rad)
                seating = self._own(f"frame.{tilt.at}.seating", self.priors.seating_rad)
                pitch = self.wheels.pitches[self.unit.id]
                self.wheels.rows[tilt] = (*self._slopes(), pitch, self.wheels.zero, seating)

    def _own(self, name: str, sd: float, mean: float = 0.0) -> int:
        return self.parameters.add(f"{self.unit.id}.{name}", sd, mean)

    def _slopes(self) -> tuple[int, int]:
        return self._own("floor.along", 1.0), self._own("floor.across", 1.0)  # made before

    def _axle(self, axle: Axle, tilts: Sequence[Tilt], stations: Mapping[str, Station]) -> None:
        names = {tilt.name for tilt in tilts}
        steered = self._steered(axle) if names & set(SWEEP_TILTS) else None
        camber = self._pair(axle, "camber", self.priors.camber_rad)
        self.wheels.axles[self.unit.id, axle.code] = AxleWheels(
            camber=camber, shown=bool(names & {"face", "face-rolled"}), steered=steered
        )
        for tilt in tilts:
            side = stations[tilt.at].side
            self.wheels.sides[tilt] = side
            row = self._plate if role_of_tilt(tilt.name) == "plate" else self._wheel
            self.wheels.rows[tilt] = row(axle, tilt, side, camber, steered)
        if steered is not None:
            self._state_needs(axle, tilts)

    def _pair(self, axle: Axle, name: str, sd: float, means: tuple[float, float] = (0.0, 0.0)) -> tuple[int, int]:
        left, right = (self._own(f"{axle.code}.{name}.{_LETTERS[side]}", sd, mean)
                       for side, mean in zip((1, -1), means, strict=True))  # fmt: skip
        return left, right

    def _steered(self, axle: Axle) -> SteeredAxle:
        priors, mean = self.priors, self.priors.turn_mean_rad
        return SteeredAxle(
            caster=self._pair(axle, "caster", priors.caster_rad, (priors.caster_mean_rad, priors.caster_mean_rad)),
            kingpin=self._pair(axle, "kpi", priors.kingpin_rad, (priors.kingpin_mean_rad, priors.kingpin_mean_rad)),
            straight=self._pair(axle, "steer", 1.0),  # made before
            turned_out=self._pair(axle, "turned-out", priors.turn_rad, (mean, -mean)),
            turned_in=self._pair(axle, "turned-in", priors.turn_rad, (-mean, mean)),
            pivots_m=2.0 * (axle.pivot_half_m or 0.0),
        )

    def _wheel(
        self, axle: Axle, tilt: Tilt, side: int, camber: tuple[int, int], steered: SteeredAxle | None
    ) -> tuple[int, ...]:
        place, letter = (0 if side > 0 else 1), _LETTERS[side]
        none = (-1, -1)
        # on the turning plates the wheel stands as it has rolled there: another place of the rim is up
        run_out = f"{axle.code}.run-out{'.swept' if position_of(tilt.name) else ''}.{letter}"
        straight = steered.straight if steered is not None else none
        if steered is None and axle.pivot_half_m is not None:
            straight = self._pair(axle, "steer", 1.0)
        turned = none
        if steered is not None and (position := position_of(tilt.name)):
            turned = steered.turned_out if position == "out" else steered.turned_in
        return (
            *self._slopes(),
            self._own(f"{axle.code}.yaw", 1.0),  # made before
            straight[place],
            turned[place],
            camber[place],
            (steered.caster if steered is not None else none)[place],
            (steered.kingpin if steered is not None else none)[place],
            self._own(f"{run_out}.up", self.priors.run_out_rad),
            self._own(f"{run_out}.ahead", self.priors.run_out_rad),
            self._own(f"{axle.code}.level.{letter}", self.priors.level_rad) if tilt.name.startswith("level-") else -1,
            self.wheels.zero,
            self._own(f"{axle.code}.{tilt.name}.{letter}.seating", self.priors.seating_rad),
        )

    def _plate(
        self, axle: Axle, tilt: Tilt, side: int, _camber: tuple[int, int], steered: SteeredAxle | None
    ) -> tuple[int, ...]:
        if steered is None:
            raise ValueError(f"a turning plate at {tilt.at}, which is not swept")
        place = 0 if side > 0 else 1
        turned = steered.turned_out if position_of(tilt.name) == "out" else steered.turned_in
        zero = self._own(f"{axle.code}.plate.{_LETTERS[side]}.zero", self.plate_zero_rad)
        return turned[place], steered.straight[place], zero

    def _state_needs(self, axle: Axle, tilts: Sequence[Tilt]) -> None:
        """Name the readings of the level without which a kingpin inclination would rest on camber alone."""
        key, both = f"{self.unit.id}.{axle.id}.kpi", set[Tilt]()
        for side, word in ((1, "left"), (-1, "right")):
            levels = {
                Tilt(self.unit.id, name, tilt.at)
                for tilt in tilts
                for name in ("level-out", "level-in")
                if self.wheels.sides[tilt] == side
            }
            self.wheels.needs[f"{key}.{word}"] = frozenset(levels)
            both |= levels
        self.wheels.needs[f"{key}.difference"] = frozenset(both)
