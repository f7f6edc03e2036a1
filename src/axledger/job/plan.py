"""The plan: which shots, in what order, with what done before each; derived from layout, walk and what is blocked.

A shot is named by its stations (``F0L>S1Rf``); a second look in the same direction ends in ``#2``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from axledger.job.layout import Layout, Part, Procedure, Stand, Station, Unit, stations_of
from axledger.job.model import Sight, Tilt
from axledger.job.tilts import FLOOR_TILTS, Role, role_of_tilt

__all__ = ["Chosen", "Shot", "mirrored", "plan_shots", "role_of", "sight_of", "tilt_of", "tilts_at_wheels"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """How much of a layout's walk a job takes: the procedure, half turns or none, and optional parts."""

    procedure: Procedure = "default"
    turns: bool = True
    parts: frozenset[Part] = frozenset()

    def takes(self, stand: Stand) -> bool:
        """Tell whether the walk goes to ``stand``."""
        return self.procedure in stand.when and (not stand.part or stand.part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One wanted reading.

    ``kind`` "distance" (``start`` to ``end``) or "tilt" (at ``start``, direction ``tilt``). ``turn`` lists the
    targets turned half a turn before it, ``fold`` those out of the way for it. ``look`` is 1, or 2 where the
    same line was shot before. ``turns`` holds how often each of its two targets has been turned by then,
    counted from the start of the round.
    """

    id: str
    unit: str
    kind: Literal["distance", "tilt"]
    start: str
    end: str = ""
    tilt: str = ""
    says: str = ""
    turn: tuple[str, ...] = ()
    fold: tuple[str, ...] = ()
    look: int = 1
    spare: bool = False
    turns: tuple[int, int] = (0, 0)
    targets: tuple[str, str] = ("", "")


_PLAIN = Chosen()


def plan_shots(
    layout: Layout, *, blocked: Collection[str] = (), added: Collection[str] = (), passed: Collection[str] = (),
    chosen: Chosen = _PLAIN,
) -> tuple[Shot, ...]:  # fmt: skip
    """Return the shots in walking order, as much of the walk as is ``chosen``.

    Spare pairs appear only when named in ``added``, blocked ones never. A turn waits for the first remaining
    shot of its stand, so that blocking a shot, or passing over it (``passed``), does not lose it.
    """
    return tuple(shot for unit in layout.unit for shot in _walk(unit, set(blocked), set(added), set(passed), chosen))


def _walk(unit: Unit, blocked: set[str], added: set[str], passed: set[str], chosen: Chosen) -> Iterator[Shot]:
    stations = {station.name: station for station in stations_of(unit)}
    turned: dict[str, int] = {}
    seen: dict[frozenset[str], int] = {}
    directed: dict[str, int] = {}
    for stand in unit.stand:
        if not chosen.takes(stand):
            continue
        waiting = list(stand.turn) if chosen.turns else []
        for shot in _at(unit, stand, stations, chosen):
            line = frozenset((shot.start, shot.end or shot.tilt))
            seen[line] = seen.get(line, 0) + 1
            directed[shot.id] = directed.get(shot.id, 0) + 1
            name = shot.id if directed[shot.id] == 1 else f"{shot.id}#{directed[shot.id]}"
            if name in blocked or (shot.spare and name not in added):
                continue
            due = [] if name in passed else waiting
            for target in due:
                turned[target] = turned.get(target, 0) + 1
            yield replace(
                shot,
                id=name,
                turn=tuple(due),
                look=seen[line],
                turns=(turned.get(shot.targets[0], 0), turned.get(shot.targets[1], 0)),
            )
            waiting = waiting if name in passed else []


def _at(unit: Unit, stand: Stand, stations: Mapping[str, Station], chosen: Chosen) -> Iterator[Shot]:
    for tilt in stand.tilts:
        yield Shot(
            id=f"{stand.at}:{tilt}", unit=unit.id, kind="tilt", start=stand.at, tilt=tilt, says=stand.says,
            targets=(stations[stand.at].target, ""),
        )  # fmt: skip
    for pair in stand.shots:
        if chosen.procedure not in pair.when and not pair.spare:
            continue
        start = pair.start or stand.at
        yield Shot(
            id=f"{start}>{pair.to}", unit=unit.id, kind="distance", start=start, end=pair.to, says=stand.says,
            fold=pair.fold, spare=pair.spare, targets=(stations[start].target, stations[pair.to].target),
        )  # fmt: skip


def sight_of(shot: Shot, turns: Mapping[str, int]) -> Sight:
    """Return the distance a shot measures with its targets in the states ``turns`` (half turns made so far)."""
    return Sight(shot.start, shot.end, turns.get(shot.targets[0], 0), turns.get(shot.targets[1], 0))


def tilt_of(shot: Shot) -> Tilt:
    """Return the inclination a tilt shot measures; one of the floor is the same at any place."""
    return Tilt(shot.unit, shot.tilt, "" if shot.tilt in FLOOR_TILTS else shot.start)


def tilts_at_wheels(layout: Layout, chosen: Chosen) -> frozenset[Tilt]:
    """Return all inclinations at wheels and frame that the chosen walk offers, whatever is blocked on the day."""
    tilts = (tilt_of(shot) for shot in plan_shots(layout, chosen=chosen) if shot.kind == "tilt")
    return frozenset(tilt for tilt in tilts if tilt.at)


def role_of(shot: Shot) -> Role:
    """Return which of a job's instruments takes the shot."""
    return role_of_tilt(shot.tilt) if shot.kind == "tilt" else "meter"


def mirrored(station: str) -> str:
    """Return the station's name on the other side: the first L or R after the code's digits is exchanged."""
    for index, letter in enumerate(station):
        if index and letter in "LR":
            return f"{station[:index]}{'R' if letter == 'L' else 'L'}{station[index + 1 :]}"
    return station
