"""One slip of a kind planted in a whole plan: which shots it touches, what is done there instead, what moves.

A person repeats the slip on the repeats in the same stance, so it is planted by shot and not by reading. Sizes are
working figures of our own: what meters, feet and hands do, measured on nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from axledger.job.layout import Station
from axledger.job.plan import Shot, mirrored
from axledger_simulators.beam import trace
from axledger_simulators.slips import (
    Slip,
    SlipKind,
    past_target,
    reference_edge,
    swapped_side,
    unit_taken_wrong,
    wrong_neighbour,
)
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Blunder", "Move", "Planted", "plant"]


class Blunder(Enum):
    """What a campaign plants; a kind whose size or extent decides how it is found has a name for each."""

    PAST = "past"
    UNIT = "unit"
    NEIGHBOUR = "neighbour"
    EDGE = "edge"
    EDGE_RUN = "edge-run"
    SWAP = "swap"
    SWAP_PAIR = "swap-pair"
    SWAP_AXLE = "swap-axle"
    OTHER_SHOT = "other-shot"
    MISREAD_SMALL = "misread-4-to-7"
    MISREAD_LARGE = "misread-over-7"
    TARGET_MOVED = "target-moved"
    BADLY_SET = "badly-set"
    VEHICLE_MOVED = "vehicle-moved"


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """What moves just ``before`` a shot: one ``target``, or where it is empty the axles of ``unit`` as one."""

    before: str
    unit: str
    target: str = ""
    along_m: float = 0.0
    across_m: float = 0.0
    yaw_rad: float = 0.0

    def happen(self, vehicle: SimulatedVehicle) -> None:
        """Move it."""
        if self.target:
            vehicle.hung(self.target).knock(self.along_m, self.across_m)
        else:
            vehicle.move_axles(self.unit, along_m=self.along_m, across_m=self.across_m, yaw_rad=self.yaw_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """A planted slip: the ``shots`` it touches, in walking order; what is done ``instead`` there; what moves.

    ``names`` are what it may rightly be called: a reading of the neighbour may also be the next shot's.
    """

    blunder: Blunder
    shots: tuple[str, ...]
    names: frozenset[str]
    instead: Mapping[str, Slip] = field(default_factory=dict[str, Slip])
    move: Move | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """What a slip is planted in. ``shots``: the distance shots of the plan in walking order."""

    vehicle: SimulatedVehicle
    shots: tuple[Shot, ...]
    rng: np.random.Generator

    def stations(self, shot: Shot) -> tuple[Station, ...]:
        return self.vehicle.stations(shot.unit)

    def true_m(self, shot: Shot) -> float:
        return trace(self.vehicle, shot.start, shot.end, folded=shot.fold).distance_m

    def seen(self, shot: Shot, start: str, end: str) -> bool:
        """Tell whether ``end`` is what a beam from ``start`` hits; both must be stations of the shot's unit."""
        known = {station.name for station in self.stations(shot)}
        if start == end or not {start, end} <= known:
            return False
        return trace(self.vehicle, start, end, folded=shot.fold).what == end

    def shuffled(self) -> Iterator[Shot]:
        for number in self.rng.permutation(len(self.shots)):
            yield self.shots[int(number)]

    def between(self, low: float, high: float) -> float:
        """Draw a size of either sign."""
        return float(self.rng.uniform(low, high) * self.rng.choice((-1.0, 1.0)))


def plant(
    blunder: Blunder, vehicle: SimulatedVehicle, shots: Sequence[Shot], rng: np.random.Generator
) -> Planted | None:
    """Plant a slip somewhere in a plan; ``None`` where no shot of it allows one of this kind."""
    distances = tuple(shot for shot in shots if shot.kind == "distance")
    return _PLANTERS[blunder](_Scene(vehicle=vehicle, shots=distances, rng=rng))


def _single(
    blunder: Blunder, name: str, make: Callable[[_Scene, Shot], Slip | None]
) -> Callable[[_Scene], Planted | None]:
    """Return the planter of a slip at one shot, the first by lot that allows it."""

    def planted(scene: _Scene) -> Planted | None:
        for shot in scene.shuffled():
            if (slip := make(scene, shot)) is not None:
                names = {name} | _also(scene, shot, slip)
                return Planted(blunder=blunder, shots=(shot.id,), names=frozenset(names), instead={shot.id: slip})
        return None

    return planted


def _also(scene: _Scene, shot: Shot, slip: Slip) -> set[str]:
    """Return every true name of a shot that was taken along another line."""
    if slip.past or slip.add_m or slip.factor != 1.0:
        return set()
    line = frozenset((slip.start or shot.start, slip.end))
    names = {"other shot"} if any(frozenset((other.start, other.end)) == line for other in scene.shots) else set[str]()
    near = wrong_neighbour(shot.start, shot.end, scene.stations(shot))
    if near is not None and not slip.start and near.end == slip.end:
        names.add("neighbour")
    if slip.end == mirrored(shot.end):
        names.add("swap")
    return names


def _past(scene: _Scene, shot: Shot) -> Slip | None:
    true_m = scene.true_m(shot)
    slip = past_target(shot.end, scene.rng, wall_m=true_m + float(scene.rng.uniform(0.3, 3.0)))
    hit = trace(scene.vehicle, shot.start, shot.end, folded=shot.fold, past=True, wall_m=slip.wall_m)
    return slip if hit.distance_m > true_m + 0.3 - 1e-9 else None


def _neighbour(scene: _Scene, shot: Shot) -> Slip | None:
    slip = wrong_neighbour(shot.start, shot.end, scene.stations(shot))
    return slip if slip is not None and scene.seen(shot, shot.start, slip.end) else None


def _swapped(scene: _Scene, shot: Shot) -> Slip | None:
    """Aim at the other side's target, or take the whole shot on the other side, by lot where both are possible."""
    own = swapped_side(shot.start, shot.end, scene.stations(shot))
    ways = [own] if own is not None and scene.seen(shot, shot.start, own.end) else []
    whole = _mirror_image(scene, shot)
    ways += [whole] if whole is not None else []
    return ways[int(scene.rng.integers(len(ways)))] if ways else None


def _mirror_image(scene: _Scene, shot: Shot) -> Slip | None:
    start, end = mirrored(shot.start), mirrored(shot.end)
    if {start, end} == {shot.start, shot.end} or not scene.seen(shot, start, end):
        return None
    return Slip(kind=SlipKind.SWAPPED_SIDE, start=start, end=end)


def _next_or_last(scene: _Scene, shot: Shot) -> Slip | None:
    """Take the reading of the shot before or after in the walk of the unit."""
    walk = [other for other in scene.shots if other.unit == shot.unit]
    here = walk.index(shot)
    beside = [walk[n] for n in (here - 1, here + 1) if 0 <= n < len(walk)]
    line = {shot.start, shot.end}
    other = beside[int(scene.rng.integers(len(beside)))] if beside else shot
    if {other.start, other.end} == line or not scene.seen(other, other.start, other.end):
        return None
    return Slip(kind=SlipKind.OTHER_SHOT, start=other.start, end=other.end)


def _misread(low_m: float, high_m: float) -> Callable[[_Scene, Shot], Slip | None]:
    return lambda scene, shot: Slip(kind=SlipKind.MISREAD, end=shot.end, add_m=scene.between(low_m, high_m))


def _wrong_digit(scene: _Scene, shot: Shot) -> Slip | None:
    """Exchange two digits that stand beside each other, or type one wrong; more than 7 mm off and less than 0.25 m.

    More is a slip of whole steps of a tape, which nothing tells from a beam that ended elsewhere.
    """
    digits = f"{round(scene.true_m(shot) * 1000):05d}"
    at = int(scene.rng.integers(1, 4))
    if scene.rng.random() < 0.5:
        typed = digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :]
    else:
        typed = digits[:at] + str(int(scene.rng.integers(10))) + digits[at + 1 :]
    off_m = (int(typed) - int(digits)) / 1000
    return Slip(kind=SlipKind.MISREAD, end=shot.end, add_m=off_m) if 0.007 < abs(off_m) < 0.25 else None


def _edge_run(scene: _Scene) -> Planted | None:
    """Measure from the wrong edge from some shot on to the end of the walk; at least one shot is right."""
    if len(scene.shots) < 2:
        return None
    first = int(scene.rng.integers(1, len(scene.shots)))
    touched = scene.shots[first:]
    instead = {shot.id: reference_edge(shot.end) for shot in touched}
    return Planted(blunder=Blunder.EDGE_RUN, shots=tuple(instead), names=frozenset({"edge"}), instead=instead)


def _pair_exchanged(scene: _Scene) -> Planted | None:
    lines = {(shot.start, shot.end, shot.look): shot for shot in scene.shots}
    for shot in scene.shuffled():
        twin = lines.get((mirrored(shot.start), mirrored(shot.end), shot.look))
        slips = [_mirror_image(scene, one) for one in (shot, twin)] if twin is not None else []
        if twin is None or slips[0] is None or slips[1] is None:
            continue
        instead = {shot.id: slips[0], twin.id: slips[1]}
        order = tuple(one.id for one in scene.shots if one.id in instead)
        return Planted(blunder=Blunder.SWAP_PAIR, shots=order, names=frozenset({"swap"}), instead=instead)
    return None


def _axle_exchanged(scene: _Scene) -> Planted | None:
    """Take every shot to or from one axle on the other side."""
    codes = sorted({s.axle.code for shot in scene.shots for s in scene.stations(shot) if s.axle is not None})
    for code in (codes[int(n)] for n in scene.rng.permutation(len(codes))):
        of_axle = {
            s.name for shot in scene.shots for s in scene.stations(shot) if s.axle is not None and s.axle.code == code
        }
        touched = [shot for shot in scene.shots if of_axle & {shot.start, shot.end}]
        instead = {shot.id: slip for shot in touched if (slip := _mirror_image(scene, shot)) is not None}
        if len(instead) > 2:
            return Planted(blunder=Blunder.SWAP_AXLE, shots=tuple(instead), names=frozenset({"swap"}), instead=instead)
    return None


def _target_moved(scene: _Scene) -> Planted | None:
    """Knock a target by 3 to 15 mm between two of its shots."""
    for shot in scene.shuffled():
        target = shot.targets[int(scene.rng.integers(2))]
        its = [other for other in scene.shots if target in other.targets]
        if len(its) < 2:
            continue
        first = int(scene.rng.integers(1, len(its)))
        move = _knock(scene, its[first], target, scene.between(0.003, 0.015))
        shots = tuple(other.id for other in its[first:])
        return Planted(blunder=Blunder.TARGET_MOVED, shots=shots, names=frozenset({"target moved"}), move=move)
    return None


def _badly_set(scene: _Scene) -> Planted | None:
    """Hang a target 5 to 20 mm away from where it belongs, for the whole job."""
    shot = next(scene.shuffled())
    target = shot.targets[int(scene.rng.integers(2))]
    its = [other for other in scene.shots if target in other.targets]
    move = _knock(scene, its[0], target, scene.between(0.005, 0.020))
    shots = tuple(other.id for other in its)
    return Planted(blunder=Blunder.BADLY_SET, shots=shots, names=frozenset({"badly set"}), move=move)


def _knock(scene: _Scene, shot: Shot, target: str, size_m: float) -> Move:
    along = bool(scene.rng.random() < 0.5)
    return Move(
        before=shot.id, unit=shot.unit, target=target, along_m=size_m if along else 0.0,
        across_m=0.0 if along else size_m,
    )  # fmt: skip


def _vehicle_moved(scene: _Scene) -> Planted | None:
    """Let a unit settle on its axles before some shot: 2 to 5 mm each way and 0.05 to 0.15 degrees."""
    first = int(scene.rng.integers(1, len(scene.shots)))
    unit = scene.shots[first].unit
    touched = tuple(shot.id for shot in scene.shots[first:] if shot.unit == unit)
    if scene.shots[0].unit == unit or any(shot.unit == unit for shot in scene.shots[:first]):
        move = Move(
            before=touched[0], unit=unit, along_m=scene.between(0.002, 0.005), across_m=scene.between(0.002, 0.005),
            yaw_rad=math.radians(scene.between(0.05, 0.15)),
        )  # fmt: skip
        return Planted(blunder=Blunder.VEHICLE_MOVED, shots=touched, names=frozenset({"vehicle moved"}), move=move)
    return None


_PLANTERS: dict[Blunder, Callable[[_Scene], Planted | None]] = {
    Blunder.PAST: _single(Blunder.PAST, "past target", _past),
    Blunder.UNIT: _single(Blunder.UNIT, "unit", lambda _scene, shot: unit_taken_wrong(shot.end)),
    Blunder.NEIGHBOUR: _single(Blunder.NEIGHBOUR, "neighbour", _neighbour),
    Blunder.EDGE: _single(Blunder.EDGE, "edge", lambda _scene, shot: reference_edge(shot.end)),
    Blunder.EDGE_RUN: _edge_run,
    Blunder.SWAP: _single(Blunder.SWAP, "swap", _swapped),
    Blunder.SWAP_PAIR: _pair_exchanged,
    Blunder.SWAP_AXLE: _axle_exchanged,
    Blunder.OTHER_SHOT: _single(Blunder.OTHER_SHOT, "other shot", _next_or_last),
    Blunder.MISREAD_SMALL: _single(Blunder.MISREAD_SMALL, "misread", _misread(0.004, 0.007)),
    Blunder.MISREAD_LARGE: _single(Blunder.MISREAD_LARGE, "misread", _wrong_digit),
    Blunder.TARGET_MOVED: _target_moved,
    Blunder.BADLY_SET: _badly_set,
    Blunder.VEHICLE_MOVED: _vehicle_moved,
}
