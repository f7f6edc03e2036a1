"""What both plans draw of a unit, seen from above: rails, axles, tyres and stations as plain figures in metres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from axledger.job.layout import Axle, TyreSolid, Unit, stations_of
from axledger.job.settings import MountKind

__all__ = ["Across", "Along", "Oblong", "Outline", "outline_of"]

_RAIL_HALF_M = 0.43
_TYRE_HALF_LENGTH_M, _TYRE_HALF_WIDTH_M = 0.5, 0.15
_MARGIN_M = 0.15
"""Drawn where a layout says nothing better; working figures of our own."""


@dataclass(frozen=True, slots=True)
class Along:
    """A line along the vehicle: from ``x_m[0]`` to ``x_m[1]`` at ``y_m``."""

    x_m: tuple[float, float]
    y_m: float


@dataclass(frozen=True, slots=True)
class Across:
    """A line across the vehicle at ``x_m``: from ``y_m[0]`` to ``y_m[1]``."""

    x_m: float
    y_m: tuple[float, float]
    name: str


@dataclass(frozen=True, slots=True)
class Oblong:
    """A rectangle, least first."""

    x_m: tuple[float, float]
    y_m: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """The figures of a unit and the extent ``x_m``, ``y_m`` that holds them all, with a margin."""

    x_m: tuple[float, float]
    y_m: tuple[float, float]
    rails: tuple[Along, ...]
    axles: tuple[Across, ...]
    tyres: tuple[Oblong, ...]
    stations: Mapping[str, tuple[float, float]]


def outline_of(unit: Unit) -> Outline:
    """Return what is drawn of ``unit``. Tyres are the layout's solids where it has some, else drawn at each axle."""
    stations = {station.name: station.place_m[:2] for station in stations_of(unit)}
    axles = tuple(
        Across(axle.x_m, (-axle.wheel_half_m, axle.wheel_half_m), axle.name) for axle in unit.axle
    )  # fmt: skip
    tyres = tuple(tyre for axle in unit.axle for tyre in _tyres(unit, axle))
    xs = [x for x, _ in stations.values()] + [x for tyre in tyres for x in tyre.x_m]
    ys = [y for _, y in stations.values()] + [y for tyre in tyres for y in tyre.y_m]
    extent = (min(xs) - _MARGIN_M, max(xs) + _MARGIN_M)
    pin = [mount.x_m for mount in unit.mount if mount.kind is MountKind.PIN and mount.x_m is not None]
    behind = min(axle.x_m for axle in unit.axle) - 2 * _TYRE_HALF_LENGTH_M
    ahead = max(pin + [axle.x_m for axle in unit.axle]) + 2 * _TYRE_HALF_LENGTH_M
    reach = (max(behind, extent[0]), min(ahead, extent[1]))
    return Outline(
        x_m=extent,
        y_m=(min(ys) - _MARGIN_M, max(ys) + _MARGIN_M),
        rails=tuple(Along(reach, side * _RAIL_HALF_M) for side in (1, -1)),
        axles=axles,
        tyres=tyres,
        stations=stations,
    )


def _tyres(unit: Unit, axle: Axle) -> list[Oblong]:
    solids = [solid for solid in unit.solid if isinstance(solid, TyreSolid) and abs(solid.x_m - axle.x_m) < 0.3]
    if solids:
        return [Oblong((solid.x_m - solid.radius_m, solid.x_m + solid.radius_m), solid.y_m) for solid in solids]
    reach = (axle.x_m - _TYRE_HALF_LENGTH_M, axle.x_m + _TYRE_HALF_LENGTH_M)
    middles = (axle.wheel_half_m, -axle.wheel_half_m)
    return [Oblong(reach, (y - _TYRE_HALF_WIDTH_M, y + _TYRE_HALF_WIDTH_M)) for y in middles]
