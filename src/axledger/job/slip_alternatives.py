"""Explanations of known size: the reading is good, but of another line, or in another unit.

A technician who aims at the wrong mark, stands at the wrong one, calls left right or notes a reading one shot late
leaves a reading that fits another line of the layout. The layout predicts that line, so nothing is free.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.hypothesis import Index, score_exchanges, score_replaced, score_singles
from axledger.job.lines import Sight
from axledger.job.slip_guesses import COST, Guess, line_of
from axledger.job.slip_scene import Scene

__all__ = ["UNITS_TAKEN_WRONG", "Other", "exchanges", "others_of", "replaced", "swapped_axles", "swapped_stands"]

UNITS_TAKEN_WRONG = {
    "ft": 0.3048, "in": 0.0254, "cm": 0.01, "mm": 0.001, "m as ft": 1 / 0.3048, "m as in": 1 / 0.0254,
    "m as mm": 1000.0,
}  # fmt: skip
"""Metres per unit that the figure was really in: international foot and inch (agreement of 1959)."""

_LEAST_DIGIT_M = 0.006


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """What a reading may really be: of ``line``, and ``factor`` times what was taken down plus ``add_m``.

    ``ways``: how many like it there are, each as unlikely as all of them together are likely.
    """

    slip: str
    line: Sight
    factor: float = 1.0
    add_m: float = 0.0
    ways: int = 1
    detail: dict[str, Any]


def others_of(scene: Scene, number: int) -> list[Other]:
    """Return what else the reading of a distance may be of; each line once, the likeliest slip's name first."""
    line = line_of(scene, number)
    found = [*_wrong_ends(scene, number, line), *_other_shots(scene, number)]
    kept: dict[frozenset[tuple[str, int]], Other] = {}
    own = _ends(line)
    for other in found:
        if (ends := _ends(other.line)) != own and other.line.start != other.line.end:
            kept.setdefault(ends, other)
    units = [
        Other(slip="unit", line=line, factor=factor, detail={"unit": unit})
        for unit, factor in UNITS_TAKEN_WRONG.items()
    ]
    return [*kept.values(), *units, *_digits(scene, number, line)]


def _digits(scene: Scene, number: int, line: Sight) -> Iterator[Other]:
    """Yield the slips of one digit, or of two neighbours exchanged, that bring a reading to where it should be."""
    share = float(scene.linear.redundancy[number])
    if share < 0.01:
        return
    value, off_m = scene.shots[number].value, float(scene.linear.misfit[number]) / share
    near_m = max(0.002, 5.0 * float(scene.linear.sd[number]) / math.sqrt(share))
    if abs(off_m) < _LEAST_DIGIT_M:
        return
    taken = f"{round(value * 1000):05d}"
    meant = {taken[:at] + digit + taken[at + 1 :] for at in range(5) for digit in "0123456789"}
    meant |= {taken[:at] + taken[at + 1] + taken[at] + taken[at + 2 :] for at in range(4)}
    for other in sorted(meant - {taken}):
        add_m = (int(other) - int(taken)) / 1000.0
        if abs(add_m + off_m) < near_m:
            detail = {"taken": int(taken), "meant": int(other)}
            yield Other(slip="misread", line=line, add_m=add_m, ways=len(meant), detail=detail)


def _ends(line: Sight) -> frozenset[tuple[str, int]]:
    return frozenset(((line.start, line.start_turns), (line.end, line.end_turns)))


def _wrong_ends(scene: Scene, number: int, line: Sight) -> Iterator[Other]:
    stations = scene.stations
    for end in ("end", "start"):
        name = line.end if end == "end" else line.start
        mirror = stations.mirror(name)
        if mirror is not None:
            yield _aimed(scene, number, line, "swap", end, mirror)
    yield Other(slip="swap", line=mirrored_line(scene, number, (line.start, line.end)), detail={})
    for end in ("end", "start"):
        name = line.end if end == "end" else line.start
        for other in stations.alike(name):
            yield _aimed(scene, number, line, "neighbour", end, other.name)


def _aimed(scene: Scene, number: int, line: Sight, slip: str, end: str, name: str) -> Other:
    turns = scene.shots[number].turns.get(scene.stations.by_name[name].target, 0)
    aimed = (
        replace(line, end=name, end_turns=turns) if end == "end" else replace(line, start=name, start_turns=turns)
    )  # fmt: skip
    return Other(slip=slip, line=aimed, detail={"end": end, "station": name})


def _other_shots(scene: Scene, number: int) -> Iterator[Other]:
    """Yield the lines of the shots before and after in the walk."""
    distances = [int(shot) for shot in scene.distances]
    place = distances.index(number)
    for near, word in ((place - 1, "previous"), (place + 1, "next")):
        if 0 <= near < len(distances):
            other = scene.shots[distances[near]]
            yield Other(slip="other shot", line=line_of(scene, distances[near]),
                        detail={"which": word, "shot": other.shot.id})  # fmt: skip


def replaced(scene: Scene, wanted: Sequence[tuple[int, Other]]) -> list[Guess]:
    """Score readings as each being something else; all lines must be in the scene's model."""
    if not wanted:
        return []
    linear = scene.linear
    number = np.array([number for number, _ in wanted], dtype=np.int64)
    row = np.array([scene.rows[other.line] for _, other in wanted], dtype=np.int64)
    factor = np.array([other.factor for _, other in wanted])
    added = np.array([other.add_m for _, other in wanted])
    value = np.array([scene.shots[n].value for n, _ in wanted])
    repeats = np.array([len(scene.shots[n].numbers) for n, _ in wanted])
    sd = scene.model.sd[row] / np.sqrt(repeats)
    scored = score_singles(linear, number, scene.jacobian[row], value * factor + added - scene.predicted[row], sd)
    cost = np.array([COST[other.slip] + 2.0 * math.log(other.ways) for _, other in wanted])
    scores = scored.drop - scored.spread - cost
    return [
        Guess(
            slip=other.slip, shots=(shot,), drop=float(drop), score=float(score),
            size=other.factor if other.slip == "unit" else -other.add_m or None, detail=other.detail,
        )
        for (shot, other), drop, score in zip(wanted, scored.drop, scores, strict=True)
    ]  # fmt: skip


def exchanges(scene: Scene, least: float, touching: Collection[int] | None = None) -> list[Guess]:
    """Return pairs of shots whose readings, exchanged, fit better: mirrored ones, and one after the other."""
    pairs, mirrored = _pairs(scene)
    if touching is not None:
        kept = np.isin(pairs, list(touching)).any(axis=1)
        pairs, mirrored = pairs[kept], mirrored[kept]
    if not len(pairs):
        return []
    scored = score_exchanges(scene.linear, pairs, np.array([taken.value for taken in scene.shots]))
    cost = np.where(mirrored, COST["swap"], COST["other shot"])
    scores = scored.drop - scored.spread - cost
    return [
        Guess(
            slip="swap" if mirrored[which] else "other shot", shots=(int(pairs[which, 0]), int(pairs[which, 1])),
            drop=float(scored.drop[which]), score=float(scores[which]), detail={"exchanged": True},
        )
        for which in np.flatnonzero(scores >= least).tolist()
    ]  # fmt: skip


def _pairs(scene: Scene) -> tuple[Index, NDArray[np.bool_]]:
    """Return pairs that may have been exchanged ``(h, 2)``, the later shot first, and which are mirror images.

    Mirrored ones differ by left and right at one end or at both; others were shot one right after the other. Two
    looks along one line have nothing to exchange.
    """
    among = scene.distances
    start, end = (ends[among] for ends in scene.ends)
    mirrors = scene.stations.mirrors

    def same(one: Index, other: Index) -> NDArray[np.bool_]:
        return np.asarray(one[:, None] == other[None, :], dtype=np.bool_)

    def like(one: Index, other: Index) -> NDArray[np.bool_]:
        return same(one, other) | same(mirrors[one], other)

    line = (same(start, start) & same(end, end)) | (same(start, end) & same(end, start))
    mirrored = ((like(start, start) & like(end, end)) | (like(start, end) & like(end, start))) & ~line
    near = np.eye(len(among), k=-1, dtype=bool) & ~line
    later, earlier = np.nonzero(np.tril(mirrored | near, -1))
    return np.stack((among[later], among[earlier]), axis=1), mirrored[later, earlier]


def _put_in_place(
    scene: Scene, numbers: Sequence[int], lines: Sequence[Sight], factor: float = 1.0
) -> tuple[float, float]:
    """Score the readings ``numbers`` as being of ``lines``; returns the drop and the drop less the spread."""
    rows = [scene.rows[line] for line in lines]
    drop, spread, _ = score_replaced(
        scene.linear,
        np.array(numbers, dtype=np.int64),
        scene.jacobian[rows],
        np.array([scene.misclosure(number, line, factor) for number, line in zip(numbers, lines, strict=True)]),
        np.array([scene.sd(number, line) for number, line in zip(numbers, lines, strict=True)]),
    )
    return drop, drop - spread


def mirrored_line(scene: Scene, number: int, names: Collection[str]) -> Sight:
    """Return the line of a shot with left and right exchanged for the stations ``names``."""
    line, turns = line_of(scene, number), scene.shots[number].turns

    def other_side(name: str, state: int) -> tuple[str, int]:
        mirror = scene.stations.mirror(name) if name in names else None
        return (name, state) if mirror is None else (mirror, turns.get(scene.stations.by_name[mirror].target, 0))

    start, end = other_side(line.start, line.start_turns), other_side(line.end, line.end_turns)
    return replace(line, start=start[0], end=end[0], start_turns=start[1], end_turns=end[1])


def _mirrored_group(scene: Scene, numbers: Sequence[int], names: Collection[str]) -> dict[int, Sight]:
    """Return the mirrored lines of the shots that change by it."""
    lines = {number: mirrored_line(scene, number, names) for number in numbers}
    return {
        number: line
        for number, line in lines.items()
        if line.start != line.end and _ends(line) != _ends(line_of(scene, number))
    }


def swapped_axles(scene: Scene) -> list[tuple[dict[int, Sight], dict[str, Any]]]:
    """Return for each axle and each unit what its shots would be of with left and right exchanged.

    An axle in two ways: its own marks alone called by the other side's names, or each shot that touches it taken on
    the other side as a whole.
    """
    stations = scene.stations
    found: list[tuple[dict[int, Sight], dict[str, Any]]] = []
    for unit in scene.model.units:
        whole = [n for n, name in _starts(scene) if stations.unit_of[name] == unit.id]
        names = frozenset(name for name, of in stations.unit_of.items() if of == unit.id)
        found.append((_mirrored_group(scene, whole, names), {"of": f"the {unit.name}"}))
        for axle in unit.axles:
            own = stations.on_axle(unit.id, axle.id)
            touching = [n for n in whole if {line_of(scene, n).start, line_of(scene, n).end} & own]
            found.append((_mirrored_group(scene, touching, own), {"of": f"the {axle.name}"}))
            found.append((_mirrored_group(scene, touching, names), {"of": f"the {axle.name}"}))
    return [(lines, detail) for lines, detail in found if len(lines) > 1]


def _starts(scene: Scene) -> list[tuple[int, str]]:
    return [(number, line_of(scene, number).start) for number in scene.distances.tolist()]


def swapped_stands(scene: Scene) -> list[tuple[dict[int, Sight], dict[str, Any]]]:
    """Return for each stand what its shots would be of, had the person stood, or aimed, on the other side."""
    runs: list[list[int]] = []
    for number in scene.distances.tolist():
        if runs and line_of(scene, runs[-1][-1]).start == line_of(scene, number).start:
            runs[-1].append(number)
        else:
            runs.append([number])
    found: list[tuple[dict[int, Sight], dict[str, Any]]] = []
    for run in (run for run in runs if len(run) > 1):
        start = line_of(scene, run[0]).start
        ends = {line_of(scene, number).end for number in run}
        found.append((_mirrored_group(scene, run, {start}), {"stood": start}))
        found.append((_mirrored_group(scene, run, ends), {"aimed": start}))
    return [(lines, detail) for lines, detail in found if len(lines) > 1]


def group_swap(scene: Scene, lines: dict[int, Sight], detail: dict[str, Any]) -> Guess:
    """Score a whole group of shots as being of the mirrored lines."""
    drop, score = _put_in_place(scene, list(lines), list(lines.values()))
    return Guess(slip="swap", shots=tuple(lines), drop=drop, score=score - COST["swap"] - 2.0, detail=detail)


def run_in_other_unit(scene: Scene) -> list[Guess]:
    """Return for each unit the shots that it explains together, two or more."""
    among = scene.distances[np.abs(scene.w[scene.distances]) > 8.0]
    if len(among) < 2:
        return []
    linear = scene.linear
    values = np.array([scene.shots[int(number)].value for number in among])
    adjusted = values - linear.misfit[among]
    leverage = linear.sd[among] ** 2 - np.diag(linear.cofactor)[among]
    # a network pulled by the slip itself still knows a length to a hand's breadth
    near = np.maximum(6.0 * np.sqrt(linear.sd[among] ** 2 + leverage), 0.02 * np.abs(adjusted))
    fitting = {
        unit: among[np.abs(values * factor - adjusted) < near].tolist() for unit, factor in UNITS_TAKEN_WRONG.items()
    }  # fmt: skip
    return [_in_unit(scene, numbers, unit) for unit, numbers in fitting.items() if len(numbers) > 1]


def _in_unit(scene: Scene, numbers: list[int], unit: str) -> Guess:
    factor = UNITS_TAKEN_WRONG[unit]
    drop, score = _put_in_place(scene, numbers, [line_of(scene, number) for number in numbers], factor)
    return Guess(
        slip="unit", shots=tuple(numbers), drop=drop, score=score - COST["unit"] - 2.0, size=factor,
        detail={"unit": unit},
    )  # fmt: skip
