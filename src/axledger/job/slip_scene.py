"""The scene of a slip: what was shot in which order, and the network it makes, free of the slip's own pull.

The readings of a shot taken in one stance share its slip, so they are merged to their mean first.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from axledger.geometry.adjustment import Array
from axledger.geometry.hypothesis import Index, Linear, solve
from axledger.job.follow_up import as_taken_before, followed_rounds
from axledger.job.layout import Layout, Station, Unit, stations_of
from axledger.job.lines import Sight
from axledger.job.model import Model
from axledger.job.plan import Shot, sight_of, tilt_of
from axledger.job.sight_lines import clear_of
from axledger.job.solution import Line, Solver

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["Scene", "Stations", "Taken", "robust", "scene_at", "settled", "taken_shots", "widened", "without"]

_SUSPECT_W = 2.5
"""From here on a reading pulls less in the robust start, as 1 / w^2; a working figure as is usual for this."""
_ROBUST_STEPS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A shot as it was taken: its line, the half turns of all targets then, mean value (SI), readings' numbers.

    ``earlier``: in a round that the present one follows up, so that it cannot be taken again in this one.
    """

    shot: Shot
    line: Line
    turns: Mapping[str, int]
    value: float
    numbers: tuple[int, ...]
    earlier: bool = False

    @property
    def is_distance(self) -> bool:
        """Tell a distance from an inclination."""
        return isinstance(self.line, Sight)


class Stations:
    """The stations of a layout by name and by number, with their units, mirror images and nominal places."""

    def __init__(self, layout: Layout) -> None:
        self.by_name: dict[str, Station] = {s.name: s for unit in layout.unit for s in stations_of(unit)}
        self.unit_of: dict[str, str] = {s.name: unit.id for unit in layout.unit for s in stations_of(unit)}
        self.units: dict[str, Unit] = {unit.id: unit for unit in layout.unit}
        self._mirror = {
            own.name: other.name
            for own in self.by_name.values()
            for other in self.by_name.values()
            if own.side and other.mount == own.mount and (other.side, other.part) == (-own.side, own.part)
        }
        self.numbers: dict[str, int] = {name: number for number, name in enumerate(self.by_name)}
        self.mirrors: Index = np.array([self.numbers[self._mirror.get(name, name)] for name in self.numbers])
        self.places: Array = np.array([station.place_m for station in self.by_name.values()])
        self._clear: dict[tuple[str, str], bool] = {}
        self._on_axle: dict[tuple[str, str | None], frozenset[str]] = {}

    def alike(self, name: str) -> list[Station]:
        """Return the other stations on the same side and of the same kind in the unit, nearest first."""
        own = self.by_name[name]
        others = [
            other
            for other in self.by_name.values()
            if other.name != name
            and self.unit_of[other.name] == self.unit_of[name]
            and (other.side, other.mount.kind) == (own.side, own.mount.kind)
        ]
        return sorted(others, key=lambda other: (abs(other.place_m[0] - own.place_m[0]), other.name))

    def on_axle(self, unit: str, axle: str | None) -> frozenset[str]:
        """Return the stations of an axle, by the unit's id and its own; of all axles for ``None``."""
        key = (unit, axle)
        if key not in self._on_axle:
            self._on_axle[key] = frozenset(
                name
                for name, station in self.by_name.items()
                if self.unit_of[name] == unit and station.axle is not None and axle in (None, station.axle.id)
            )
        return self._on_axle[key]

    def mirror(self, name: str) -> str | None:
        """Return the same mark on the other side, ``None`` where there is none."""
        return self._mirror.get(name)

    def clear(self, start: str, end: str) -> bool:
        """Tell whether nothing solid of the unit stands between two stations; targets may have been folded."""
        key = (start, end)
        if key not in self._clear:
            unit = self.units[self.unit_of[start]]
            targets = {station.target for station in stations_of(unit)}
            self._clear[key] = not clear_of(unit, start, end, targets)
        return self._clear[key]


@dataclass(frozen=True, kw_only=True)
class Scene:
    """The shots in order of arrival and their network, linear at ``x``.

    ``rows`` numbers the model's lines; ``predicted`` and ``jacobian`` are for all of them at ``x``.
    ``linear`` has one observation per shot.
    """

    stations: Stations
    shots: tuple[Taken, ...]
    model: Model
    rows: Mapping[Line, int]
    x: Array
    predicted: Array
    jacobian: Array
    linear: Linear

    @cached_property
    def w(self) -> Array:
        """Return the w-test of each shot ``(m,)``, observed less adjusted."""
        linear = self.linear
        free = np.diag(linear.cofactor)
        checked = free > 1e-6 * linear.sd**2
        return np.where(checked, linear.misfit / np.sqrt(np.where(checked, free, 1.0)), 0.0)

    @cached_property
    def square_sum(self) -> float:
        """Return the weighted square sum at the optimum, all priors included."""
        readings = self.linear.misfit / self.linear.sd
        priors = (self.model.prior - self.x - self.linear.step) / self.model.prior_sd
        return float(readings @ readings + priors @ priors)

    @cached_property
    def distances(self) -> Index:
        """Return the numbers of the shots that are distances."""
        return np.array([n for n, taken in enumerate(self.shots) if taken.is_distance], dtype=np.int64)

    @cached_property
    def ends(self) -> tuple[Index, Index]:
        """Return the station numbers each shot starts and ends at ``(m,)``; -1 for inclinations."""
        numbers = self.stations.numbers
        pairs = [
            (numbers[taken.line.start], numbers[taken.line.end]) if isinstance(taken.line, Sight) else (-1, -1)
            for taken in self.shots
        ]
        start, end = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
        return start, end

    @cached_property
    def directions(self) -> Array:
        """Return each shot's nominal direction seen from above ``(m, 2)``; zero for inclinations."""
        start, end = self.ends
        line = self.stations.places[end] - self.stations.places[start]
        length = np.sqrt((line**2).sum(axis=1))
        return line[:, :2] / np.where(length > 0.0, length, 1.0)[:, None]

    def misclosure(self, number: int, line: Line, factor: float = 1.0) -> float:
        """Return the value of shot ``number``, times ``factor``, less what ``line`` should read at ``x``."""
        return self.shots[number].value * factor - float(self.predicted[self.rows[line]])

    def sd(self, number: int, line: Line) -> float:
        """Return the standard deviation of shot ``number``'s mean if it measured ``line``."""
        return float(self.model.sd[self.rows[line]]) / math.sqrt(len(self.shots[number].numbers))


def taken_shots(fold: JobFold, round_number: int) -> tuple[Taken, ...]:
    """Return the shots that a round is solved from, in order of arrival of their first accepted reading.

    Those of the rounds that it follows up come first, their lines as the round sees them.
    """
    if fold.layout is None:
        return ()
    found: list[Taken] = []
    for number in (*followed_rounds(fold.board, round_number), round_number):
        own = _taken_in(fold, number)
        lines: list[Line | None] = [taken.line for taken in own]
        if number != round_number:
            lines = as_taken_before(fold.layout, fold.board, [taken.line for taken in own], number, round_number)
        before = number != round_number
        found += [
            replace(taken, line=line, earlier=before)
            for taken, line in zip(own, lines, strict=True)
            if line is not None
        ]
    return tuple(found)


def _taken_in(fold: JobFold, round_number: int) -> list[Taken]:
    board, found = fold.board, list[Taken]()
    for shot in fold.every_shot():
        groups: dict[Line, list[int]] = {}
        for number in board.accepted(shot.id, round_number):
            line: Line = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, board.places[number].turns)
            groups.setdefault(line, []).append(number)
        for line, numbers in groups.items():
            values = [fold.readings[number].values[fold.quantity_of(shot)][0] for number in numbers]
            found.append(
                Taken(
                    shot=shot, line=line, turns=board.places[numbers[0]].turns,
                    value=math.fsum(values) / len(values), numbers=tuple(numbers),
                )
            )  # fmt: skip
    return sorted(found, key=lambda taken: taken.numbers[0])


def scene_at(
    stations: Stations, shots: Sequence[Taken], model: Model, rows: Mapping[Line, int], x: Array,
    *, covariance: Array | None = None,
) -> Scene:  # fmt: skip
    """Return the scene linear at ``x``; ``covariance`` saves an inversion where it is known to belong to it."""
    predicted, jacobian = model.network.predict(x)
    own = [rows[taken.line] for taken in shots]
    sd = model.sd[own] / np.sqrt([len(taken.numbers) for taken in shots])
    values = np.array([taken.value for taken in shots])
    linear = solve(
        jacobian[own], values - predicted[own], sd, model.prior - x, model.prior_sd, covariance=covariance
    )  # fmt: skip
    return Scene(
        stations=stations, shots=tuple(shots), model=model, rows=rows, x=x,
        predicted=predicted, jacobian=jacobian, linear=linear,
    )  # fmt: skip


def widened(scene: Scene, solver: Solver, more: Iterable[Line]) -> Scene:
    """Return the scene with the lines ``more`` in its model too; parameters they bring start at their priors."""
    lines = {*(taken.line for taken in scene.shots), *more}
    if lines <= set(scene.rows):
        return scene
    model, rows = solver.model_of(sorted({*scene.rows, *lines}, key=repr))
    known = dict(zip(scene.model.names, scene.x.tolist(), strict=True))
    x = np.array([known.get(name, mean) for name, mean in zip(model.names, model.prior.tolist(), strict=True)])
    return scene_at(scene.stations, scene.shots, model, rows, x)


def settled(scene: Scene, without: Collection[int] = ()) -> Scene:
    """Return the scene linear at its optimum without the shots ``without``, those shots still in it."""
    kept = [taken for number, taken in enumerate(scene.shots) if number not in without]
    x = scene.x
    for _ in range(4):
        part = scene_at(scene.stations, kept, scene.model, scene.rows, x)
        x = x + part.linear.step
        moved = np.abs(part.linear.step) / np.sqrt(np.diag(part.linear.covariance))
        if float(moved.max()) < 0.05:
            break
    return scene_at(scene.stations, scene.shots, scene.model, scene.rows, x)


def robust(scene: Scene) -> Scene:
    """Return the scene linear where the readings that contradict the others pull little.

    Starts from the layout, where only what no real vehicle could show is left out; then each reading's weight falls
    with the square of its w beyond 2.5, leverage taken into account by the w itself.
    """
    model, count = scene.model, len(scene.shots)
    own = [scene.rows[taken.line] for taken in scene.shots]
    values, plain = np.array([taken.value for taken in scene.shots]), scene.linear.sd
    x, sd = model.prior.copy(), plain
    covariance: Array = np.diag(model.prior_sd**2)
    weight = np.ones(count)
    for step in range(_ROBUST_STEPS):
        predicted, jacobian = model.network.predict(x)
        misclosure, rows = values - predicted[own], jacobian[own]
        if step == 0:
            spread = np.sqrt(plain**2 + np.einsum("ij,jk,ik->i", rows, covariance, rows, optimize=True))
            weight = np.where(np.abs(misclosure) > 6.0 * spread, 1e-8, 1.0)
        sd = plain / np.sqrt(weight)
        linear = solve(rows, misclosure, sd, model.prior - x, model.prior_sd)
        x = x + linear.step
        # each reading against a forecast without itself: sd^2 of what is left out is the plain one
        leverage = np.einsum("ij,jk,ik->i", rows, linear.covariance, rows, optimize=True)
        share = np.maximum(1.0 - leverage / sd**2, 1e-6)
        w = np.abs(linear.misfit / share) / np.sqrt(plain**2 + leverage / share)
        before, weight = weight, np.where(w < _SUSPECT_W, 1.0, (_SUSPECT_W / np.maximum(w, 1e-9)) ** 2)
        if step > 2 and float(np.max(np.abs(weight - before))) < 0.1:
            break
    return scene_at(scene.stations, scene.shots, model, scene.rows, x)


def without(scene: Scene, numbers: Collection[int]) -> Scene:
    """Return the scene without some of its shots."""
    kept = tuple(taken for number, taken in enumerate(scene.shots) if number not in numbers)
    return scene_at(scene.stations, kept, scene.model, scene.rows, scene.x)
