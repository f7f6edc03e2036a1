"""Layouts: a vehicle as data.

A layout is a TOML file: rigid units with axles, mounts (which make stations), simple solids for sight lines, and
the walk (stands in order with the shots taken there). Lengths in metres, x forward, y left, z up from the floor.
A combination is a layout that names other layouts instead (``combine``); loading it by name resolves them.

Station names follow from the mounts: a hub mount on axle ``D1`` makes ``D1Lh`` and ``D1Rh``, an inboard mount
``D1Li`` and ``D1Ri``, a straightedge mount on ``S1`` makes ``S1Lf``, ``S1Lh``, ``S1Lr`` and the right ones,
a rail mount ``F0`` makes ``F0L`` and ``F0R``, a pin mount ``K`` makes ``K``. A floor mount ``G`` takes
inclinations only.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import Annotated, Literal, cast

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from axledger.contract.errors import BadFile
from axledger.contract.toml_file import line_of, parse_toml
from axledger.job.adjusters import Adjuster, faults_of
from axledger.job.layout_faults import unit_faults
from axledger.job.settings import DEFAULT_SETTINGS, MountKind, Setting
from axledger.job.tilts import TiltName, misplaced, sweep_fault

__all__ = [
    "Axle",
    "AxleKind",
    "BoxSolid",
    "Layout",
    "Mount",
    "Pair",
    "Part",
    "Procedure",
    "Reference",
    "Side",
    "Solid",
    "Stand",
    "Station",
    "TyreSolid",
    "Unit",
    "clash_of",
    "parse_layout",
    "stations_of",
]

_DO = "mend the named lines, then run `axledger layouts check FILE`"
Side = Literal["L", "R"]
Code = Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9]{0,3}$")]
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{1,40}$")]
Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]*$")]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class AxleKind(Enum):
    """What an axle does."""

    STEER = "steer"
    DRIVEN = "driven"
    CARRYING = "carrying"


class Reference(Enum):
    """What a unit's angles and offsets are judged against."""

    FRAME = "frame"
    """The frame centreline through two rail pairs."""
    AXLE_MIDDLES = "axle-middles"
    """The line from the steer axle's middle to the middle of the rear axle group."""
    COUPLING = "coupling"
    """The line from the coupling pin to the middle of the rear axle group."""


class Axle(_Strict):
    """One axle: ``code`` for stations, ``id`` for result keys, middle at ``x_m``, ``group`` of neighbours.

    ``wheel_half_m``: half the distance between wheel centres. ``pivot_half_m``: half the distance between the
    steering pivots (steer axles only).
    """

    code: Code
    id: Identifier
    name: str
    kind: AxleKind
    x_m: float
    group: Identifier
    wheel_half_m: Annotated[float, Field(gt=0.3, lt=2)]
    pivot_half_m: Annotated[float, Field(gt=0.3, lt=2)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _has_a_track(cls, data: object) -> object:
        if isinstance(data, dict):
            written = cast("dict[str, object]", data)
            if not written.get("wheel_half_m"):
                raise ValueError(
                    f"axle {written.get('code', '')} has no track: enter wheel_half_m, half the distance between the "
                    "middles of its wheels (of its pairs of wheels), in m"
                )
            return written
        return data

    @model_validator(mode="after")
    def _steer_has_pivots(self) -> Axle:
        if (self.kind is AxleKind.STEER) != (self.pivot_half_m is not None):
            raise ValueError("pivot_half_m belongs to steer axles, and every steer axle needs it")
        return self


class Mount(_Strict):
    """A kind of target on an axle (``axle``) or on the unit (``code`` and ``x_m``).

    ``half_span_m``: half the distance between left and right stations. ``height_m``: of the station above the
    floor. ``drop_m``: how far it hangs on a plumb line (0: a rigid foot). ``half_length_m``: straightedges.
    ``setting`` replaces the default standard deviations. ``name`` says what a pin is, where it is no coupling pin.
    """

    kind: MountKind
    name: str = ""
    axle: Code | None = None
    code: Code | None = None
    x_m: float | None = None
    half_span_m: Annotated[float, Field(ge=0, lt=3)] = 0.0
    half_length_m: Annotated[float, Field(gt=0.2, lt=2)] | None = None
    height_m: Annotated[float, Field(ge=0, lt=3)] = 0.150
    drop_m: Annotated[float, Field(ge=0, lt=3)] = 0.0
    setting: Setting | None = None

    @model_validator(mode="after")
    def _is_complete(self) -> Mount:
        on_axle = self.kind in (MountKind.HUB, MountKind.INBOARD, MountKind.STRAIGHTEDGE)
        if on_axle and (self.axle is None or self.code is not None or self.x_m is not None):
            raise ValueError(f"a {self.kind.value} mount names its axle, and neither code nor x_m")
        if not on_axle and (self.code is None or self.x_m is None or self.axle is not None):
            raise ValueError(f"a {self.kind.value} mount has code and x_m, and no axle")
        if (self.kind is MountKind.STRAIGHTEDGE) != (self.half_length_m is not None):
            raise ValueError("half_length_m belongs to straightedges, and every straightedge needs it")
        if self.name and self.kind is not MountKind.PIN:
            raise ValueError("name belongs to a pin; all other targets are named after their axle or code")
        if self.kind not in (MountKind.PIN, MountKind.FLOOR) and self.half_span_m <= 0:
            raise ValueError("half_span_m must be above zero")
        return self

    @property
    def stated(self) -> Setting:
        """Return the setting in force: the mount's own or the default of its kind."""
        return self.setting or DEFAULT_SETTINGS[self.kind]


class TyreSolid(_Strict):
    """A tyre (or pair): a cylinder about the y axis. ``y_m`` is its extent, ``radius_m`` about ``(x_m, z_m)``."""

    kind: Literal["tyre"]
    name: str
    x_m: float
    z_m: Annotated[float, Field(gt=0)]
    radius_m: Annotated[float, Field(gt=0)]
    y_m: tuple[float, float]

    @model_validator(mode="after")
    def _extent_is_ordered(self) -> TyreSolid:
        if self.y_m[0] >= self.y_m[1]:
            raise ValueError("extents are written least first")
        return self


class BoxSolid(_Strict):
    """A box: ``x_m``, ``y_m``, ``z_m`` are its extents, least first."""

    kind: Literal["box"]
    name: str
    x_m: tuple[float, float]
    y_m: tuple[float, float]
    z_m: tuple[float, float]

    @model_validator(mode="after")
    def _extents_are_ordered(self) -> BoxSolid:
        for low, high in (self.x_m, self.y_m, self.z_m):
            if low >= high:
                raise ValueError("extents are written least first")
        return self


Solid = Annotated[TyreSolid | BoxSolid, Field(discriminator="kind")]


Procedure = Literal["short", "default", "thorough"]
Part = Literal["", "camber", "sweep"]
_USUAL: tuple[Procedure, ...] = ("default", "thorough")


class Pair(_Strict):
    """One wanted distance from the stand (or from ``start``) to ``to``; targets in ``fold`` are out of the way.

    ``when`` names the procedures that take it; a shot of the short walk is one of all three.
    """

    to: str
    start: str | None = None
    fold: tuple[str, ...] = ()
    spare: bool = False
    """Not shot unless the plan needs it."""
    when: Annotated[tuple[Procedure, ...], Field(min_length=1)] = _USUAL


class Stand(_Strict):
    """A place of the walk: the meter stands at station ``at``; ``turn`` lists targets turned half a turn first.

    ``when`` names the procedures that go there. A stand of a ``part`` is taken only in jobs that chose this part.
    """

    at: str
    says: str = ""
    when: Annotated[tuple[Procedure, ...], Field(min_length=1)] = ("short", "default", "thorough")
    part: Part = ""
    turn: tuple[str, ...] = ()
    shots: Annotated[tuple[Pair, ...], Field(min_length=0)] = ()
    tilts: tuple[TiltName, ...] = ()


class Unit(_Strict):
    """One rigid unit; ``id`` starts its result keys."""

    id: Identifier
    name: str
    kind: Literal["powered", "towed"]
    reference: Reference
    axle: Annotated[tuple[Axle, ...], Field(min_length=1)]
    mount: Annotated[tuple[Mount, ...], Field(min_length=1)]
    solid: tuple[Solid, ...] = ()
    stand: Annotated[tuple[Stand, ...], Field(min_length=1)]
    adjuster: tuple[Adjuster, ...] = ()
    toe_diameter_m: Annotated[float, Field(gt=0.3, lt=2)] = 1.016

    @model_validator(mode="after")
    def _names_fit(self) -> Unit:
        codes = [axle.code for axle in self.axle] + [mount.code for mount in self.mount if mount.code]
        if twice := sorted({code for code in codes if codes.count(code) > 1}):
            raise ValueError(f"code used twice: {', '.join(twice)}")
        axles = {axle.code for axle in self.axle}
        if strange := sorted({m.axle for m in self.mount if m.axle is not None} - axles):
            raise ValueError(f"mount on an axle that is not there: {', '.join(strange)}")
        known = {axle.code: (axle.id, axle.kind is AxleKind.STEER, axle.wheel_half_m) for axle in self.axle}
        if faults := list(faults_of(self.adjuster, known)):
            raise ValueError("; ".join(faults))
        self._reference_is_there()
        self._stands_name_stations()
        return self

    def _reference_is_there(self) -> None:
        kinds = [mount.kind for mount in self.mount]
        if self.reference is Reference.FRAME and kinds.count(MountKind.RAIL) < 2:
            raise ValueError("a frame line needs two rail pairs; one pair alone gives no direction")
        if self.reference is Reference.COUPLING and kinds.count(MountKind.PIN) != 1:
            raise ValueError("a coupling line needs one pin mount")
        if self.reference is Reference.AXLE_MIDDLES and self.axle[0].kind is not AxleKind.STEER:
            raise ValueError("a line through axle middles starts at a steer axle, which comes first")

    def _stands_name_stations(self) -> None:
        stations = {station.name: station for station in stations_of(self)}
        targets = {station.target for station in stations.values()}
        for stand in self.stand:
            named = [stand.at] + [name for pair in stand.shots for name in (pair.to, pair.start or stand.at)]
            if strange := sorted(set(named) - set(stations)):
                raise ValueError(f"stand {stand.at}: no such station: {', '.join(strange)}")
            folded = {name for pair in stand.shots for name in pair.fold}
            if strange := sorted((set(stand.turn) | folded) - targets):
                raise ValueError(f"stand {stand.at}: no such target: {', '.join(strange)}")
            for tilt in stand.tilts:
                if fault := _misplaced(tilt, stations[stand.at]):
                    raise ValueError(f"stand {stand.at}: {fault}")
        walked = [(stand.at, stations[stand.at].side, tilt) for stand in self.stand for tilt in stand.tilts]
        if fault := sweep_fault(walked):
            raise ValueError(fault)


class Layout(_Strict):
    """A whole vehicle. ``most_u_deg`` and ``most_u_mm`` bound the standard uncertainty of what is shown.

    A file has either units or ``combine``, the names of layouts whose units it joins. Once resolved, a layout
    has units only.
    """

    schema_: Literal[1] = Field(alias="schema")
    name: Name
    title: str
    source: str
    unit: tuple[Unit, ...] = ()
    combine: tuple[Name, ...] = ()
    most_u_deg: Annotated[float, Field(gt=0)] = 0.12
    most_u_mm: Annotated[float, Field(gt=0)] = 5.0

    @field_validator("unit")
    @classmethod
    def _units_differ(cls, units: tuple[Unit, ...]) -> tuple[Unit, ...]:
        if fault := clash_of(units):
            raise ValueError(fault)
        return units

    @field_validator("combine")
    @classmethod
    def _combines_two(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        if names and len(set(names)) < 2:
            raise ValueError("a combination names at least two different layouts")
        return names

    @model_validator(mode="after")
    def _has_units_or_combines(self) -> Layout:
        if bool(self.unit) == bool(self.combine):
            raise ValueError("a layout has either units or combine, not both and not neither")
        return self


class Station(_Strict):
    """A point that can be shot at: ``name``, its ``target`` (the object that carries it), nominal place, m.

    ``part`` is "front", "rear" or "middle" of a straightedge, else empty. ``side`` is +1 left, -1 right, 0.
    """

    name: str
    target: str
    mount: Mount
    axle: Axle | None
    side: int
    part: Literal["", "front", "middle", "rear"]
    place_m: tuple[float, float, float]
    words: str


def _misplaced(tilt: str, station: Station) -> str:
    wheel = station.axle is not None and station.mount.kind is not MountKind.INBOARD and station.part in ("", "middle")
    steers = station.axle is not None and station.axle.pivot_half_m is not None
    return misplaced(tilt, station.mount.kind, wheel=wheel, steers=steers)


def clash_of(units: Sequence[Unit]) -> str:
    """Return in words what keeps ``units`` from being joined (an id or a station twice), or an empty text."""
    identifiers = [unit.id for unit in units]
    if twice := sorted({name for name in identifiers if identifiers.count(name) > 1}):
        return f"two units share the id {', '.join(twice)}"
    names = [station.name for unit in units for station in stations_of(unit)]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        return f"station made twice: {', '.join(twice)}"
    return ""


def stations_of(unit: Unit) -> tuple[Station, ...]:
    """Return all stations of a unit in the order of its mounts, left before right."""
    axles = {axle.code: axle for axle in unit.axle}
    return tuple(
        station
        for mount in unit.mount
        if mount.axle is None or mount.axle in axles
        for station in _of_mount(mount, axles.get(mount.axle or ""))
    )


_PARTS: dict[MountKind, tuple[tuple[str, Literal["", "front", "middle", "rear"], str], ...]] = {
    MountKind.HUB: (("h", "", "outboard target"),),
    MountKind.INBOARD: (("i", "", "inboard target"),),
    MountKind.STRAIGHTEDGE: (
        ("f", "front", "straightedge, front end"),
        ("h", "middle", "straightedge, centre mark"),
        ("r", "rear", "straightedge, rear end"),
    ),
    MountKind.RAIL: (("", "", "rail target"),),
}
_LETTER = {1: "L", -1: "R"}
_SIDE_WORD = {1: "left", -1: "right"}


def _of_mount(mount: Mount, axle: Axle | None) -> list[Station]:
    x = axle.x_m if axle is not None else mount.x_m or 0.0
    if mount.kind in (MountKind.PIN, MountKind.FLOOR):
        code = mount.code or ""
        words = mount.name or "coupling pin" if mount.kind is MountKind.PIN else "floor beside the vehicle"
        return [
            Station(
                name=code, target=code, mount=mount, axle=None, side=0, part="",
                place_m=(x, mount.half_span_m, mount.height_m), words=words,
            )
        ]  # fmt: skip
    base = axle.code if axle is not None else mount.code or ""
    owner = axle.name if axle is not None else base
    reach = {"front": 1.0, "rear": -1.0}
    return [
        Station(
            name=f"{base}{_LETTER[side]}{suffix}",
            target=_target(mount, base, side),
            mount=mount,
            axle=axle,
            side=side,
            part=part,
            place_m=(x + reach.get(part, 0.0) * (mount.half_length_m or 0.0), side * mount.half_span_m, mount.height_m),
            words=f"{owner} {_SIDE_WORD[side]}, {words}",
        )
        for side in (1, -1)
        for suffix, part, words in _PARTS[mount.kind]
    ]


def _target(mount: Mount, base: str, side: int) -> str:
    """Name the object: a straightedge carries three stations and is turned as one."""
    suffix = {MountKind.HUB: "h", MountKind.INBOARD: "i"}.get(mount.kind, "")
    return f"{base}{_LETTER[side]}{suffix}"


def parse_layout(text: str, *, path: str) -> Layout:
    """Parse a layout's TOML text; raise ``BadFile`` naming every fault with its line."""
    layout = parse_toml(text, Layout, path=path, do=_DO)
    faults = [
        (line_of(text, "unit", number, *place), words)
        for number, unit in enumerate(layout.unit)
        for place, words in unit_faults(unit, stations_of(unit))
    ]
    if faults:
        raise BadFile(path, sorted(faults), allowed="a layout that can be measured", do=_DO)
    return layout
