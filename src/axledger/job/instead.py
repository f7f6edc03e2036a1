"""What to do about a line that something stands in: which shot, height or arm serves instead.

Own tyres stand in every line from hub to hub across or diagonally, whatever the height; what crosses under a vehicle
goes low, from a straightedge's rear end or a rail target to the inboard target of the other side (common practice,
no source; the candidates are proved on the layout's own solids before they are named).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import product

from axledger.geometry.sight import blockers
from axledger.job.layout import Station, TyreSolid, Unit, stations_of
from axledger.job.settings import MountKind
from axledger.job.sight_lines import SightLines, clear_of, solids_of

__all__ = ["instead_of", "is_own_tyre"]

_HEIGHTS_M = (0.150, 0.100, 0.060)
_SAME_AXLE_M = 0.300
_ARM_STEP_M, _ARM_STEPS = 0.010, 40
_MOST_NAMED = 2


def is_own_tyre(unit: Unit, name: str, start: str, end: str) -> bool:
    """Tell whether the solid called ``name`` is a tyre on an axle that the shot begins or ends at."""
    ends = [station for station in stations_of(unit) if station.name in (start, end) and station.axle is not None]
    return any(
        isinstance(solid, TyreSolid) and solid.name == name and abs(solid.x_m - station.axle.x_m) < _SAME_AXLE_M
        for solid in unit.solid
        for station in ends
        if station.axle is not None
    )


def instead_of(unit: Unit, start: str, end: str, found: Collection[str]) -> str:
    """Return in words what to do about the shot from ``start`` to ``end`` that ``found`` stands in."""
    targets = [name.removeprefix("target ") for name in found if name.startswith("target ")]
    if len(targets) == len(found):
        return f"have them out of the way: fold = [{', '.join(repr(name) for name in targets)}]".replace("'", '"')
    by_name = {station.name: station for station in stations_of(unit)}
    here, there = by_name[start], by_name[end]
    ways = [*_lower(unit, here, there), *_other_shots(unit, here, there), *_longer_arms(unit, here, there)]
    return "; or ".join(ways) if ways else "take the shot out; nothing near it is clear"


def _lower(unit: Unit, here: Station, there: Station) -> Iterator[str]:
    for height in _HEIGHTS_M:
        if height < min(here.place_m[2], there.place_m[2]) - 1e-9:
            places = [(*station.place_m[:2], height) for station in (here, there)]
            if not blockers(places[0], places[1], solids_of(unit)):
                yield f"hang both targets {1000 * height:.0f} mm above the floor, where the line is clear"
                return


def _other_shots(unit: Unit, here: Station, there: Station) -> Iterator[str]:
    """Yield the nearest shots between the same axles (or pairs), across where the blocked one goes across."""
    stations, lines = stations_of(unit), SightLines(unit)
    wanted = here.side * there.side
    near = [
        (first, second)
        for first, second in product(_kin(here, stations), _kin(there, stations))
        if first.target != second.target
        and first.side * second.side == wanted
        and not lines.in_the_way(first.name, second.name)
    ]
    # what looks along and under a vehicle: rail targets, and the rear ends of straightedges
    others = [
        (first, second)
        for first, second in product(stations, _kin(there, stations))
        if (first.mount.kind is MountKind.RAIL or first.part == "rear")
        and first.side * second.side == wanted and second.target != first.target
        and not lines.in_the_way(first.name, second.name)
    ]  # fmt: skip
    others.sort(key=lambda pair: pair[1] is not there)
    near.sort(key=lambda pair: (pair[0] is not here) + (pair[1] is not there) + (pair[0].side != here.side))
    sides = here.side, there.side
    names = dict.fromkeys(f"{a.name}>{b.name}" for a, b in [*near, *others] if (a.side, b.side) == sides)
    if names:
        yield f"shoot {' or '.join(list(names)[:_MOST_NAMED])} instead"


def _kin(station: Station, stations: Sequence[Station]) -> list[Station]:
    if station.axle is not None:
        return [other for other in stations if other.axle is station.axle]
    return [other for other in stations if other.mount is station.mount]


def _longer_arms(unit: Unit, here: Station, there: Station) -> Iterator[str]:
    for hub in (here, there):
        if hub.mount.kind is not MountKind.HUB:
            continue
        for step in range(1, _ARM_STEPS + 1):
            longer = hub.mount.half_span_m + step * _ARM_STEP_M
            stretched = hub.mount.model_copy(update={"half_span_m": longer})
            mounts = tuple(stretched if mount is hub.mount else mount for mount in unit.mount)
            if not clear_of(unit.model_copy(update={"mount": mounts}), here.name, there.name):
                yield f"arms {1000 * step * _ARM_STEP_M:.0f} mm longer at {hub.target} (half_span_m = {longer:.3f})"
                return
