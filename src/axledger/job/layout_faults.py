"""What makes a layout file useless although its fields are in order, in the trade's words and with a cure.

Found when a file is read, so that each fault has its line; a layout that a job already holds is never judged again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from axledger.job.settings import MountKind

if TYPE_CHECKING:  # the layout's own module asks for these faults
    from axledger.job.layout import Axle, Pair, Procedure, Stand, Station, Unit

__all__ = ["Place", "unit_faults"]

Place = tuple[str | int, ...]
"""Where in a unit's part of the file: ``("stand", 2, "turn")``."""

_ONE_PLACE_M = 0.005
_PROCEDURES: tuple[Procedure, ...] = ("default", "short", "thorough")


def unit_faults(unit: Unit, stations: Sequence[Station]) -> Iterator[tuple[Place, str]]:
    """Yield what is wrong with ``unit``, which has these ``stations``, and where."""
    by_name = {station.name: station for station in stations}
    yield from _at_one_place(unit, stations)
    yield from _on_steer_axles(unit)
    for number, stand in enumerate(unit.stand):
        for words in _within_one_target(stand, by_name):
            yield ("stand", number, "shots"), words
        for words in _idle_turns(unit, number, by_name):
            yield ("stand", number, "turn"), words
    for number, axle in enumerate(unit.axle):
        if words := _bare(unit, axle):
            yield ("axle", number), words


def _at_one_place(unit: Unit, stations: Sequence[Station]) -> Iterator[tuple[Place, str]]:
    told: set[frozenset[int]] = set()
    for first, second in combinations(stations, 2):
        if math.dist(first.place_m, second.place_m) >= _ONE_PLACE_M:
            continue
        mounts = [next(n for n, m in enumerate(unit.mount) if m is station.mount) for station in (first, second)]
        if frozenset(mounts) not in told:
            told.add(frozenset(mounts))
            yield (
                ("mount", mounts[1]),
                f"{first.name} and {second.name} stand at one place (nearer than {1000 * _ONE_PLACE_M:.0f} mm): "
                "no two targets can hang there; move one of the mounts, or take it out",
            )


def _on_steer_axles(unit: Unit) -> Iterator[tuple[Place, str]]:
    steering = {axle.code for axle in unit.axle if axle.pivot_half_m is not None}
    straightedges = {mount.axle for mount in unit.mount if mount.kind is MountKind.STRAIGHTEDGE}
    for number, mount in enumerate(unit.mount):
        if mount.kind is MountKind.HUB and mount.axle in steering:
            yield (
                ("mount", number),
                f"a hub target on {mount.axle} swings with the steered wheel and cannot tell where the wheel points: "
                "put a straightedge mount there instead",
            )
        if mount.kind is MountKind.STRAIGHTEDGE and mount.axle not in steering:
            yield (
                ("mount", number),
                f"the wheels of {mount.axle} do not steer, so a straightedge there has no toe to show: put a hub mount "
                'there, or make the axle a steer axle (kind = "steer" and pivot_half_m)',
            )
    for number, axle in enumerate(unit.axle):
        if axle.code in steering - straightedges:
            yield (
                ("axle", number),
                f"nothing can be told of where the wheels of {axle.name} ({axle.code}) point: a steer axle needs a "
                "straightedge mount",
            )


def _within_one_target(stand: Stand, stations: Mapping[str, Station]) -> Iterator[str]:
    for pair in stand.shots:
        start, end = stations[_start(stand, pair)], stations[pair.to]
        if start is end:
            yield f"shot {start.name}>{end.name} ends where it starts: name the station to aim at"
        elif start.target == end.target:
            yield (
                f"shot {start.name}>{end.name} starts and ends at one target ({start.target}): it measures the target, "
                "nothing of the vehicle; aim at a station of another target"
            )


def _idle_turns(unit: Unit, number: int, stations: Mapping[str, Station]) -> Iterator[str]:
    """Yield the turns of a stand that no shot at or after it looks at, in a procedure that takes the stand."""
    turning = unit.stand[number]
    for procedure in _PROCEDURES:
        if procedure not in turning.when:
            continue
        seen = {
            stations[name].target
            for stand in unit.stand[number:]
            if procedure in stand.when and stand.part in ("", turning.part)
            for pair in stand.shots
            if pair.spare or procedure in pair.when
            for name in (_start(stand, pair), pair.to)
        }
        # a stand without a shot in this procedure is passed by, and its targets stay as they are
        taken = any(procedure in pair.when and not pair.spare for pair in turning.shots)
        if taken and (idle := [target for target in turning.turn if target not in seen]):
            yield (
                f"stand {turning.at} turns {', '.join(idle)}, but no later shot of the {procedure} walk looks there: "
                "take the turn out, or shoot the target once more after it"
            )
            return
    if turning.turn and not turning.shots:
        yield f"stand {turning.at} turns {', '.join(turning.turn)} and takes no shot: name one that looks there"


def _bare(unit: Unit, axle: Axle) -> str:
    if all(mount.axle != axle.code for mount in unit.mount):
        return (
            f"no target hangs on {axle.name} ({axle.code}), so nothing of it can be measured: give it a mount "
            f"({'straightedge' if axle.pivot_half_m is not None else 'hub'}) and shots that look there"
        )
    return ""


def _start(stand: Stand, pair: Pair) -> str:
    return pair.start or stand.at
