"""Sight lines of a layout: what stands between two stations.

The unit's own solids are in the way, and so is every target that is neither aimed at nor stood at nor folded.
A target is a plate about its station; on a wheel it is carried by an arm from the tyre's face at wheel height
and a drop down to the plate, elsewhere it hangs on its cord. Sizes of the targets are working figures of our own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from axledger.geometry.sight import Box, Cylinder, blockers
from axledger.job.layout import BoxSolid, Layout, Station, TyreSolid, Unit, stations_of
from axledger.job.settings import MountKind

__all__ = ["SightLines", "clear_of", "solids_of", "target_solids", "unclear_shots"]

_PLATE_HALF_M = 0.030
_ARM_HALF_M = 0.010
_CORD_HALF_M = 0.002
_SAME_AXLE_M = 0.300
"""A tyre this near an axle, along the vehicle, belongs to it."""
_ON_WHEEL = (MountKind.HUB, MountKind.STRAIGHTEDGE)

Span = tuple[float, float]


def solids_of(unit: Unit) -> list[Box | Cylinder]:
    """Return the solids of a unit without its targets, m."""
    return [_tyre(solid) if isinstance(solid, TyreSolid) else _box(solid) for solid in unit.solid]


def _tyre(solid: TyreSolid) -> Cylinder:
    return Cylinder(name=solid.name, x_m=solid.x_m, z_m=solid.z_m, radius_m=solid.radius_m, y_m=solid.y_m)


def _box(solid: BoxSolid) -> Box:
    return Box(name=solid.name, x_m=solid.x_m, y_m=solid.y_m, z_m=solid.z_m)


def target_solids(unit: Unit) -> dict[str, tuple[Box, ...]]:
    """Return the boxes of every target by its name, m; each box is named ``target NAME``."""
    solids: dict[str, tuple[Box, ...]] = {}
    for station in stations_of(unit):
        if station.mount.kind is not MountKind.FLOOR:  # lies flat, away from every line
            solids[station.target] = (*solids.get(station.target, ()), *_target(unit, station))
    return solids


def clear_of(unit: Unit, start_station: str, end_station: str, folded: Collection[str] = ()) -> tuple[str, ...]:
    """Return what is in the way between two stations of ``unit``, by name; empty when the line is clear.

    ``folded`` names the targets out of the way. Raises ``KeyError`` for a station the unit does not have.
    """
    return SightLines(unit).in_the_way(start_station, end_station, folded)


class SightLines:
    """The solids and targets of one unit, put together once for many lines."""

    def __init__(self, unit: Unit) -> None:
        self._stations = {station.name: station for station in stations_of(unit)}
        self._solids = solids_of(unit)
        self._targets = target_solids(unit)

    def in_the_way(self, start_station: str, end_station: str, folded: Collection[str] = ()) -> tuple[str, ...]:
        """Return what ``clear_of`` returns for the unit."""
        start, end = self._stations[start_station], self._stations[end_station]
        away = {start.target, end.target, *folded}
        targets = (box for name, boxes in self._targets.items() if name not in away for box in boxes)
        return blockers(start.place_m, end.place_m, [*self._solids, *targets])


def unclear_shots(layout: Layout) -> tuple[str, ...]:
    """Return every wanted line that something stands in, spare ones included, with what it is."""
    found = {
        (start, pair.to): lines.in_the_way(start, pair.to, pair.fold)
        for unit in layout.unit
        for lines in (SightLines(unit),)
        for stand in unit.stand
        for pair in stand.shots
        for start in (pair.start or stand.at,)
    }
    return tuple(f"{start}>{end}: {', '.join(names)}" for (start, end), names in found.items() if names)


def _target(unit: Unit, station: Station) -> Iterator[Box]:
    x, y, z = station.place_m
    name = f"target {station.target}"
    along = _about(x, _PLATE_HALF_M)
    if station.part == "middle":  # the straightedge itself, once
        reach = (station.mount.half_length_m or 0.0) + _PLATE_HALF_M
        along = _about(x, reach)
    yield Box(name=name, x_m=along, y_m=_about(y, _PLATE_HALF_M), z_m=_about(z, _PLATE_HALF_M))
    if station.mount.drop_m:
        cord = _about(x, _CORD_HALF_M), _about(y, _CORD_HALF_M)
        yield Box(name=name, x_m=cord[0], y_m=cord[1], z_m=(z, z + station.mount.drop_m))
    if station.mount.kind in _ON_WHEEL and station.part in ("", "middle"):
        yield from _arm(unit, station, name)


def _arm(unit: Unit, station: Station, name: str) -> Iterator[Box]:
    """Yield the arm out of the wheel and the drop from its end to the plate; nothing where no tyre is drawn."""
    x, y, z = station.place_m
    tyres = [
        solid
        for solid in unit.solid
        if isinstance(solid, TyreSolid) and abs(solid.x_m - x) < _SAME_AXLE_M and solid.y_m[0] * station.side > 0
    ]
    if not tyres:
        return
    outer = max(tyres, key=lambda tyre: max(tyre.y_m[0] * station.side, tyre.y_m[1] * station.side))
    face = max(outer.y_m, key=abs)
    along = _about(x, _ARM_HALF_M)
    yield Box(name=name, x_m=along, y_m=_ordered(face, y), z_m=_about(outer.z_m, _ARM_HALF_M))
    yield Box(name=name, x_m=along, y_m=_about(y, _ARM_HALF_M), z_m=_ordered(z, outer.z_m))


def _about(middle: float, half: float) -> Span:
    return middle - half, middle + half


def _ordered(first: float, second: float) -> Span:
    return min(first, second), max(first, second)
