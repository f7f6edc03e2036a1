"""From a layout to the network: stations, setting errors and instruments become parameters.

Every placement error is a parameter with its prior, shared by all shots to the station, because such errors do
not average. A target that was turned half a turn is the same target in another state: its bias counts with the
other sign and its seating is drawn anew.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import Quantity
from axledger.geometry.adjustment import Array
from axledger.geometry.results import AxleGeometry, UnitGeometry
from axledger.geometry.vehicle_network import Distances, Inclinations, Points, VehicleNetwork
from axledger.job.earlier import Before, as_it_stood
from axledger.job.in_force import InForce
from axledger.job.layout import Axle, AxleKind, Layout, Reference, Station, Unit, stations_of
from axledger.job.lines import Sight, Tilt
from axledger.job.scales import KINDS
from axledger.job.settings import MountKind
from axledger.job.tilts import role_of_tilt
from axledger.job.wheel_angles import WheelPriors, in_order, wheels_of

__all__ = ["REST_ALLOWANCE", "LayoutPriors", "Model", "SettingParameter", "Sight", "Tilt", "build_model"]

REST_ALLOWANCE = 1.05
"""By how much the hub's and the drop's stated sds are widened; see DEVELOPERS.md for why it is what it is."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingParameter:
    """What a setting error's parameter stands for.

    ``part`` is bias, seating, rest, across or end; ``scaled`` where its sd carries its kind's factor, which the bias
    of a target that is known does not.
    """

    kind: MountKind
    part: str
    place: str
    scaled: bool


_State = tuple[int, Before]
"""A target's half turns, and how its axle stood."""


@dataclass(slots=True)
class _Parameters:
    names: list[str] = field(default_factory=list[str])
    sds: list[float] = field(default_factory=list[float])
    means: list[float] = field(default_factory=list[float])
    numbers: dict[str, int] = field(default_factory=dict[str, int])
    settings: dict[int, SettingParameter] = field(default_factory=dict[int, SettingParameter])

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
    settings: Mapping[int, SettingParameter] = field(default_factory=dict[int, SettingParameter])
    """The parameters that are setting errors."""
    needs: Mapping[str, frozenset[Tilt]] = field(default_factory=dict[str, frozenset[Tilt]])
    """Readings without which a result is not determined, by its key."""


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
    in_force: InForce | None = None,
    plate: Instrument | None = None,
    offered: Collection[Tilt] = (),
    wheel_priors: WheelPriors | None = None,
) -> Model:
    """Build the network for the given readings (one entry per reading, repeats as separate entries).

    The order of parameters depends on the layout and on which target states occur, so the same readings give
    the same model. ``offered`` are the inclinations at wheels of the job's walk, taken or not: the job's results
    depend on them. ``plate`` is the instrument that stands for the turning plates.
    """
    tilts, floor = in_order(tilts), [tilt for tilt in tilts if not tilt.at]
    stated = priors or LayoutPriors()
    parameters = _Parameters()
    zero, scale = _corrections(parameters, meter, Quantity.LENGTH)
    tilt_zero, _ = _corrections(parameters, inclinometer, Quantity.INCLINATION)
    units = tuple(_unit(parameters, unit, stated) for unit in layout.unit)
    rows, numbers = _rows(parameters, layout, units, _states(sights), stated, in_force or InForce())
    wheels = wheels_of(parameters, layout, {*offered, *tilts}, zero=tilt_zero, plate=plate, priors=wheel_priors)
    size = len(parameters.names)
    points = _points(rows, size)
    start = np.array([numbers[s.start, (s.start_turns, s.start_before)] for s in sights], dtype=np.int64)
    end = np.array([numbers[s.end, (s.end_turns, s.end_before)] for s in sights], dtype=np.int64)
    slopes = [_slope(parameters, tilt.unit, tilt.name.split("-")[0], stated) for tilt in floor]
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
            zero=np.full(len(floor), tilt_zero % (size + 1), dtype=np.int64),
            sign=np.array([-1.0 if tilt.name.endswith("-turned") else 1.0 for tilt in floor]),
        ),
        wheels=wheels.network(tilts, size),
    )
    prior = np.array(parameters.means)
    return Model(
        names=tuple(parameters.names),
        prior=prior,
        prior_sd=np.array(parameters.sds),
        network=network,
        units=tuple(
            wheels.fitted(_padded(solved, size), {axle.id: axle.code for axle in unit.axle})
            for unit, solved in zip(layout.unit, units, strict=True)
        ),
        sights=tuple(sights),
        tilts=tilts,
        sd=_reading_sd(network, prior, tilts, meter=meter, inclinometer=inclinometer, plate=plate),
        settings=parameters.settings,
        needs=wheels.needs,
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


def _states(sights: Iterable[Sight]) -> Mapping[str, frozenset[_State]]:
    """Return for each station the half turns of its target and how its axle stood, as often as they differ."""
    seen: dict[str, set[_State]] = {}
    for sight in sights:
        seen.setdefault(sight.start, set()).add((sight.start_turns, sight.start_before))
        seen.setdefault(sight.end, set()).add((sight.end_turns, sight.end_before))
    return {name: frozenset(states) for name, states in seen.items()}


def _rows(
    parameters: _Parameters,
    layout: Layout,
    units: Sequence[UnitGeometry],
    states: Mapping[str, frozenset[_State]],
    priors: LayoutPriors,
    in_force: InForce,
) -> tuple[list[_Row], dict[tuple[str, _State], int]]:
    rows: list[_Row] = []
    numbers: dict[tuple[str, _State], int] = {}
    for unit, geometry in zip(layout.unit, units, strict=True):
        axles = {axle.code: solved for axle, solved in zip(unit.axle, geometry.axles, strict=True)}
        for station in stations_of(unit):
            for turns, before in sorted(states.get(station.name, frozenset())):
                numbers[station.name, (turns, before)] = len(rows)
                solved = axles[station.axle.code] if station.axle is not None else None
                if solved is not None and station.axle is not None:
                    solved = as_it_stood(parameters, f"{unit.id}.{station.axle.code}", solved, before, priors)
                rows.append(_row(parameters, unit, station, solved, turns, in_force))
    return rows, numbers


def _row(
    parameters: _Parameters, unit: Unit, station: Station, solved: AxleGeometry | None, turns: int, in_force: InForce
) -> _Row:
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
    _placement(parameters, unit, station, turns, row, in_force)
    if mount.drop_m:
        # a plumb line leans against the rise: nose up by a moves the target back by drop * a, left end up by c
        # moves it right by drop * c
        for component, direction in enumerate(("along", "across")):
            row.outer_terms.append((component, parameters.numbers[f"{unit.id}.floor.{direction}"], -mount.drop_m))
    return row


def _placement(parameters: _Parameters, unit: Unit, station: Station, turns: int, row: _Row, in_force: InForce) -> None:
    """Add the setting errors of a target in its present state."""
    setting, target, kind = station.mount.stated, f"{unit.id}.{station.target}", station.mount.kind
    flip = -1.0 if turns % 2 else 1.0
    millimetre = 1e-3
    factor = in_force.factor(kind) if kind in KINDS else 1.0
    known = in_force.targets.get(station.target)

    def term(component: int, name: str, sd_mm: float, weight: float = 1.0) -> None:
        if (number := parameters.add(name, sd_mm * millimetre)) >= 0:
            row.local_terms.append((component, number, weight))

    def error(component: int, part: str, sd_mm: float, weight: float = 1.0, suffix: str = "") -> None:
        name = f"{target}.{part}{suffix}"
        term(component, name, sd_mm * factor, weight)
        if name in parameters.numbers:
            own = SettingParameter(kind=kind, part=part, place=station.target, scaled=kind in KINDS)
            parameters.settings[parameters.numbers[name]] = own

    if known is not None and setting.bias > 0.0:
        number = parameters.add(f"{target}.bias", known.u_mm * millimetre, known.bias_mm * millimetre)
        row.local_terms.append((0, number, flip))
        own = SettingParameter(kind=kind, part="bias", place=station.target, scaled=False)
        parameters.settings[number] = own
    else:
        error(0, "bias", setting.bias, flip)
    error(0, "seating", setting.seating, suffix=f".{turns}")
    error(0, "rest", REST_ALLOWANCE * math.hypot(setting.hub, setting.rest))
    term(0, f"{target}.along", setting.along)
    error(1, "across", setting.across)
    if station.side:
        term(1, f"{unit.id}.{_family(station)}.span", setting.span, float(station.side))
    if station.part in ("front", "rear"):
        outward = 1.0 if station.part == "front" else -1.0
        # turned end for end, the end that pointed forward points back and takes its errors along
        end = 1 if (station.part == "front") == (turns % 2 == 0) else 2
        error(0, "end", setting.end, outward, suffix=f"{end}.length")
        error(1, "end", setting.end, suffix=f"{end}.across")


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
    network: VehicleNetwork, prior: Array, tilts: Sequence[Tilt], *, meter: Instrument | None,
    inclinometer: Instrument | None, plate: Instrument | None,
) -> Array:  # fmt: skip
    """Return the sd of one reading each: repeatability, half a display step each way, and height where it counts."""
    lengths, by_role = len(network.distances.start), {"inclinometer": inclinometer, "plate": plate}
    sd = np.empty(lengths + len(tilts))
    if lengths:
        place, _ = network.places(prior)
        line = place[network.distances.end] - place[network.distances.start]
        rise = network.points.height[network.distances.end] - network.points.height[network.distances.start]
        steepness = rise / np.sqrt((line**2).sum(axis=1) + rise**2)
        sd[:lengths] = np.hypot(_single(meter, Quantity.LENGTH), steepness * math.sqrt(2) * _HEIGHT_SD_M)
    single = {role: _single(by_role[role], Quantity.INCLINATION) for role in {role_of_tilt(t.name) for t in tilts}}
    sd[lengths:] = [single[role_of_tilt(tilt.name)] for tilt in tilts]
    return sd


def _single(instrument: Instrument | None, quantity: Quantity) -> float:
    if instrument is None or (record := instrument.quantities.get(quantity)) is None:
        raise ValueError(f"readings of {quantity.value} without an instrument that measures it")
    return math.hypot(record.repeatability, record.resolution / math.sqrt(12.0))
