"""From a layout to the network: stations, setting errors and instruments become parameters.

Every placement error is a parameter with its prior, shared by all shots to the station, because such errors do
not average. A target that was turned half a turn is the same target in another state: its bias counts with the
other sign and its seating is drawn anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import Quantity
from axledger.geometry.adjustment import Array
from axledger.geometry.results import AxleGeometry, UnitGeometry
from axledger.geometry.vehicle_network import Distances, Inclinations, Points, VehicleNetwork
from axledger.job.layout import Axle, AxleKind, Layout, Reference, Station, Unit, stations_of
from axledger.job.settings import MountKind

__all__ = ["LayoutPriors", "Model", "Sight", "Tilt", "build_model"]

_HEIGHT_SD_M = 0.003
"""How well a station's height above the floor is known; working figure, no source."""


@dataclass(frozen=True, slots=True)
class LayoutPriors:
    """How far a real vehicle may stray from its layout: weak on purpose, for prediction only."""

    along_m: float = 0.050
    aside_m: float = 0.020
    yaw_rad: float = math.radians(1.0)
    steer_rad: float = math.radians(1.0)
    slope_rad: float = math.radians(2.0)


@dataclass(frozen=True, slots=True)
class Sight:
    """A distance between two stations, each with the number of half turns its target had made."""

    start: str
    end: str
    start_turns: int = 0
    end_turns: int = 0


@dataclass(frozen=True, slots=True)
class Tilt:
    """An inclination of the floor under ``unit``: ``name`` as in the layout ("along", "across-turned", ...)."""

    unit: str
    name: str


@dataclass(slots=True)
class _Parameters:
    names: list[str] = field(default_factory=list[str])
    sds: list[float] = field(default_factory=list[float])
    means: list[float] = field(default_factory=list[float])
    numbers: dict[str, int] = field(default_factory=dict[str, int])

    def add(self, name: str, sd: float, mean: float = 0.0) -> int:
        """Return the number of parameter ``name``, made at the first call; -1 where ``sd`` is zero."""
        if sd == 0.0 and mean == 0.0:
            return -1
        if name not in self.numbers:
            self.numbers[name] = len(self.names)
            self.names.append(name)
            self.sds.append(max(sd, 1e-9))
            self.means.append(mean)
        return self.numbers[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """The network of a job with its priors and the sds of single readings.

    ``sights`` and ``tilts`` are in the order of the network's observations. ``sd`` ``(m,)`` of one reading each.
    """

    names: tuple[str, ...]
    prior: Array
    prior_sd: Array
    network: VehicleNetwork
    units: tuple[UnitGeometry, ...]
    sights: tuple[Sight, ...]
    tilts: tuple[Tilt, ...]
    sd: Array


@dataclass(slots=True)
class _Row:
    """One point while it is being put together: ``(component, parameter, factor)`` terms."""

    base: tuple[float, float]
    axle: tuple[int, int, int]
    steer: int
    pivot: tuple[float, float]
    local: tuple[float, float]
    height: float
    local_terms: list[tuple[int, int, float]] = field(default_factory=list[tuple[int, int, float]])
    outer_terms: list[tuple[int, int, float]] = field(default_factory=list[tuple[int, int, float]])


def build_model(
    layout: Layout,
    sights: Sequence[Sight],
    tilts: Sequence[Tilt],
    *,
    meter: Instrument | None,
    inclinometer: Instrument | None,
    priors: LayoutPriors | None = None,
) -> Model:
    """Build the network for the given readings (one entry per reading, repeats as separate entries).

    The order of parameters depends on the layout and on which target states occur, so the same readings give
    the same model.
    """
    stated = priors or LayoutPriors()
    parameters = _Parameters()
    zero, scale = _corrections(parameters, meter, Quantity.LENGTH)
    tilt_zero, _ = _corrections(parameters, inclinometer, Quantity.INCLINATION)
    units = tuple(_unit(parameters, unit, stated) for unit in layout.unit)
    rows, numbers = _rows(parameters, layout, units, _states(sights))
    size = len(parameters.names)
    points = _points(rows, size)
    start = np.array([numbers[sight.start, sight.start_turns] for sight in sights], dtype=np.int64)
    end = np.array([numbers[sight.end, sight.end_turns] for sight in sights], dtype=np.int64)
    slopes = [_slope(parameters, tilt.unit, tilt.name.split("-")[0], stated) for tilt in tilts]
    network = VehicleNetwork(
        size=size,
        points=points,
        distances=Distances(
            start=start,
            end=end,
            zero=np.full(len(sights), zero % (size + 1), dtype=np.int64),
            scale=np.full(len(sights), scale % (size + 1), dtype=np.int64),
        ),
        inclinations=Inclinations(
            slope=np.array(slopes, dtype=np.int64),
            zero=np.full(len(tilts), tilt_zero % (size + 1), dtype=np.int64),
            sign=np.array([-1.0 if tilt.name.endswith("-turned") else 1.0 for tilt in tilts]),
        ),
    )
    prior = np.array(parameters.means)
    return Model(
        names=tuple(parameters.names),
        prior=prior,
        prior_sd=np.array(parameters.sds),
        network=network,
        units=tuple(_padded(unit, size) for unit in units),
        sights=tuple(sights),
        tilts=tuple(tilts),
        sd=_reading_sd(network, prior, meter, inclinometer),
    )


def _corrections(parameters: _Parameters, instrument: Instrument | None, quantity: Quantity) -> tuple[int, int]:
    record = instrument.quantities.get(quantity) if instrument is not None else None
    if instrument is None or record is None:
        return -1, -1
    # reading = (true - zero) / (1 + scale) for a length; an inclination reading is true + zero, hence the sign
    sign = -1.0 if quantity is Quantity.INCLINATION else 1.0
    zero = parameters.add(f"{instrument.name}.{quantity.value}.zero", record.u_zero, sign * record.zero)
    scale = parameters.add(f"{instrument.name}.{quantity.value}.scale", record.u_scale, record.scale)
    return zero, scale


def _unit(parameters: _Parameters, unit: Unit, priors: LayoutPriors) -> UnitGeometry:
    pin = next((mount for mount in unit.mount if mount.kind is MountKind.PIN), None)
    for direction in ("along", "across"):
        _slope(parameters, unit.id, direction, priors)
    return UnitGeometry(
        id=unit.id,
        name=unit.name,
        powered=unit.kind == "powered",
        reference=unit.reference.value,
        pin_x_m=(pin.x_m or 0.0) if pin is not None else 0.0,
        toe_diameter_m=unit.toe_diameter_m,
        axles=tuple(_axle(parameters, unit, axle, priors) for axle in unit.axle),
    )


def _axle(parameters: _Parameters, unit: Unit, axle: Axle, priors: LayoutPriors) -> AxleGeometry:
    """Add an axle's parameters. The datum: see the two conditions, each takes away one freedom of the frame."""
    name = f"{unit.id}.{axle.code}"
    first, last = axle is unit.axle[0], axle is unit.axle[-1]
    x_is_datum = first and unit.reference is not Reference.COUPLING  # else the pin holds x
    y_is_datum = (last and unit.reference is not Reference.FRAME) or (
        first and unit.reference is Reference.AXLE_MIDDLES
    )
    steer = None
    if axle.kind is AxleKind.STEER:
        left, right = (parameters.add(f"{name}.steer.{side}", priors.steer_rad) for side in ("L", "R"))
        steer = (left, right)
    return AxleGeometry(
        id=axle.id,
        name=axle.name,
        group=axle.group,
        driven=axle.kind is AxleKind.DRIVEN,
        x=-1 if x_is_datum else parameters.add(f"{name}.x", priors.along_m),
        y=-1 if y_is_datum else parameters.add(f"{name}.y", priors.aside_m),
        yaw=parameters.add(f"{name}.yaw", priors.yaw_rad),
        x_m=axle.x_m,
        wheel_half_m=axle.wheel_half_m,
        steer=steer,
    )


def _padded(unit: UnitGeometry, size: int) -> UnitGeometry:
    """Replace -1 (no parameter) by ``size``, which the network reads as a constant zero."""
    axles = tuple(
        AxleGeometry(
            id=axle.id, name=axle.name, group=axle.group, driven=axle.driven, x_m=axle.x_m,
            x=axle.x % (size + 1), y=axle.y % (size + 1), yaw=axle.yaw,
            wheel_half_m=axle.wheel_half_m, steer=axle.steer,
        )
        for axle in unit.axles
    )  # fmt: skip
    return UnitGeometry(
        id=unit.id, name=unit.name, powered=unit.powered, reference=unit.reference, pin_x_m=unit.pin_x_m,
        toe_diameter_m=unit.toe_diameter_m, axles=axles,
    )  # fmt: skip


def _slope(parameters: _Parameters, unit: str, direction: str, priors: LayoutPriors) -> int:
    return parameters.add(f"{unit}.floor.{direction}", priors.slope_rad)


def _states(sights: Iterable[Sight]) -> Mapping[str, frozenset[int]]:
    seen: dict[str, set[int]] = {}
    for sight in sights:
        seen.setdefault(sight.start, set()).add(sight.start_turns)
        seen.setdefault(sight.end, set()).add(sight.end_turns)
    return {name: frozenset(turns) for name, turns in seen.items()}


def _rows(
    parameters: _Parameters,
    layout: Layout,
    units: Sequence[UnitGeometry],
    states: Mapping[str, frozenset[int]],
) -> tuple[list[_Row], dict[tuple[str, int], int]]:
    rows: list[_Row] = []
    numbers: dict[tuple[str, int], int] = {}
    for unit, geometry in zip(layout.unit, units, strict=True):
        axles = {axle.code: solved for axle, solved in zip(unit.axle, geometry.axles, strict=True)}
        for station in stations_of(unit):
            for turns in sorted(states.get(station.name, frozenset())):
                numbers[station.name, turns] = len(rows)
                solved = axles[station.axle.code] if station.axle is not None else None
                rows.append(_row(parameters, unit, station, solved, turns))
    return rows, numbers


def _row(parameters: _Parameters, unit: Unit, station: Station, solved: AxleGeometry | None, turns: int) -> _Row:
    mount, side = station.mount, station.side
    pivot_half = station.axle.pivot_half_m if station.axle is not None else None
    on_wheel = mount.kind is MountKind.STRAIGHTEDGE and pivot_half is not None and solved is not None
    pivot = (0.0, side * (pivot_half or 0.0)) if on_wheel else (0.0, 0.0)
    x = station.place_m[0] - (solved.x_m if solved is not None else 0.0)
    steer = -1
    if on_wheel and solved is not None and solved.steer is not None:
        steer = solved.steer[0] if side > 0 else solved.steer[1]
    row = _Row(
        base=(solved.x_m if solved is not None else 0.0, 0.0),
        axle=(solved.x, solved.y, solved.yaw) if solved is not None else (-1, -1, -1),
        steer=steer,
        pivot=pivot,
        local=(x, station.place_m[1] - pivot[1]),
        height=station.place_m[2],
    )
    _placement(parameters, unit, station, turns, row)
    if mount.drop_m:
        # a plumb line leans against the rise: nose up by a moves the target back by drop * a, left end up by c
        # moves it right by drop * c
        for component, direction in enumerate(("along", "across")):
            row.outer_terms.append((component, parameters.numbers[f"{unit.id}.floor.{direction}"], -mount.drop_m))
    return row


def _placement(parameters: _Parameters, unit: Unit, station: Station, turns: int, row: _Row) -> None:
    """Add the setting errors of a target in its present state."""
    setting, target = station.mount.stated, f"{unit.id}.{station.target}"
    flip = -1.0 if turns % 2 else 1.0
    millimetre = 1e-3

    def term(component: int, name: str, sd_mm: float, factor: float = 1.0) -> None:
        if (number := parameters.add(name, sd_mm * millimetre)) >= 0:
            row.local_terms.append((component, number, factor))

    term(0, f"{target}.bias", setting.bias, flip)
    term(0, f"{target}.seating.{turns}", setting.seating)
    term(0, f"{target}.rest", math.hypot(setting.hub, setting.rest))
    term(0, f"{target}.along", setting.along)
    term(1, f"{target}.across", setting.across)
    if station.side:
        term(1, f"{unit.id}.{_family(station)}.span", setting.span, float(station.side))
    if station.part in ("front", "rear"):
        outward = 1.0 if station.part == "front" else -1.0
        # turned end for end, the end that pointed forward points back and takes its errors along
        end = 1 if (station.part == "front") == (turns % 2 == 0) else 2
        term(0, f"{target}.end{end}.length", setting.end, outward)
        term(1, f"{target}.end{end}.across", setting.end)


def _family(station: Station) -> str:
    """Name what left and right share: the mount's kind and axle or code."""
    owner = station.axle.code if station.axle is not None else station.mount.code
    return f"{owner}.{station.mount.kind.value}"


def _points(rows: Sequence[_Row], size: int) -> Points:
    local_by, outer_by = np.zeros((len(rows), 2, size)), np.zeros((len(rows), 2, size))
    for number, row in enumerate(rows):
        for matrix, terms in ((local_by, row.local_terms), (outer_by, row.outer_terms)):
            for component, parameter, factor in terms:
                matrix[number, component, parameter] += factor
    indices = np.array([(*row.axle, row.steer) for row in rows], dtype=np.int64).reshape(-1, 4) % (size + 1)
    return Points(
        axle_x=indices[:, 0],
        axle_y=indices[:, 1],
        axle_yaw=indices[:, 2],
        steer=indices[:, 3],
        base=np.array([row.base for row in rows]).reshape(-1, 2),
        pivot=np.array([row.pivot for row in rows]).reshape(-1, 2),
        local=np.array([row.local for row in rows]).reshape(-1, 2),
        local_by=local_by,
        outer_by=outer_by,
        height=np.array([row.height for row in rows]),
    )


def _reading_sd(
    network: VehicleNetwork, prior: Array, meter: Instrument | None, inclinometer: Instrument | None
) -> Array:
    """Return the sd of one reading each: repeatability, half a display step each way, and height where it counts."""
    lengths, tilts = len(network.distances.start), len(network.inclinations.sign)
    sd = np.empty(lengths + tilts)
    if lengths:
        place, _ = network.places(prior)
        line = place[network.distances.end] - place[network.distances.start]
        rise = network.points.height[network.distances.end] - network.points.height[network.distances.start]
        steepness = rise / np.sqrt((line**2).sum(axis=1) + rise**2)
        sd[:lengths] = np.hypot(_single(meter, Quantity.LENGTH), steepness * math.sqrt(2) * _HEIGHT_SD_M)
    if tilts:
        sd[lengths:] = _single(inclinometer, Quantity.INCLINATION)
    return sd


def _single(instrument: Instrument | None, quantity: Quantity) -> float:
    if instrument is None or (record := instrument.quantities.get(quantity)) is None:
        raise ValueError(f"readings of {quantity.value} without an instrument that measures it")
    return math.hypot(record.repeatability, record.resolution / math.sqrt(12.0))
