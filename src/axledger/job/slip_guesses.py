"""Explanations of contradicting readings whose size is unknown: a misreading, an edge, a target or an axle that moved.

Each explanation is scored by what it takes off the weighted square sum, less what it costs: how rare the slip is,
and how unlikely its very size was before anything was read. Costs are twice natural logs of odds (working figures of
our own, tuned by simulation), so scores compare.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axledger.geometry.adjustment import Array
from axledger.geometry.hypothesis import Index, score_columns, score_runs
from axledger.job.lines import Sight
from axledger.job.slip_scene import Scene

__all__ = ["COST", "EDGE_M", "PAST_M", "Guess", "free_guesses", "line_of", "single_guesses"]

COST: Mapping[str, float] = {
    "misread": 7.0, "past target": 5.0, "in the beam": 9.0, "unit": 8.0, "edge": 8.0, "swap": 8.0, "neighbour": 8.0,
    "other shot": 10.0, "target moved": 10.0, "badly set": 10.0, "vehicle moved": 12.0,
}  # fmt: skip
"""Twice the log of the odds against each slip at a given place."""
EDGE_M = (0.040, 0.300)
"""Lengths of meters: what a wrong reference edge adds or takes away lies between these."""
PAST_M = 0.25
"""A beam that misses its plate goes on at least this far, to the next solid or the wall."""
_FAR_BEHIND = 20.0
_LEAST_SIZE = 0.001
_MOST_MOVED_M = 0.5
"""Nothing that hangs or stands moves farther unseen (own figure); a turn counts by a lever of one metre."""
_SPAN = {"misread": math.log(250.0), "moved": math.log(100.0)}
"""Sizes are even in their logarithm over these spans: from 1 mm to 250 mm, and to 100 mm."""
_LEAST_TILT = math.radians(0.02)


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """One explanation: the ``slip``, the numbers of its ``shots`` (the suspect first), its ``drop`` and ``score``.

    ``size`` is the estimated size in SI where there is one; ``detail`` names what the words need. ``aside`` are the
    shots that would have to be left out to be rid of it (default: ``shots``).
    """

    slip: str
    shots: tuple[int, ...]
    drop: float
    score: float
    size: float | None = None
    detail: Mapping[str, Any] = field(default_factory=dict[str, Any])


def log_uniform(size: float, least: float, span: float) -> float:
    """Return the density of a size of either sign that is even in its logarithm, per unit."""
    return 1.0 / (2.0 * max(abs(size), 2.0 * least) * span)


def free_score(drop: float, density: float, variance: float, cost: float) -> float:
    """Return the score of one free size: its density before, times the width within which the readings hold it."""
    return drop + 2.0 * math.log(density) + math.log(2.0 * math.pi * variance) - cost


def free_guesses(scene: Scene, *, least: float) -> list[Guess]:
    """Return the explanations of free size that score ``least`` or more and are not far behind the best single one."""
    found = list(_singles(scene))
    near = max([least, *(guess.score - _FAR_BEHIND for guess in found)])
    found += [*_runs(scene), *_moved_targets(scene, near), *_moved_axles(scene, near)]
    return [guess for guess in found if guess.score >= near]


def _singles(scene: Scene) -> Iterator[Guess]:
    for number in np.flatnonzero(scene.w**2 > 4.0).tolist():
        yield from single_guesses(scene, number)


def single_guesses(scene: Scene, number: int) -> list[Guess]:
    """Return the explanations of free size that blame one shot alone, whatever they score."""
    share = float(scene.linear.redundancy[number])
    if share < 1e-6:
        return []
    size, variance = float(scene.linear.misfit[number]) / share, float(scene.linear.sd[number] ** 2) / share
    drop = float(scene.w[number] ** 2)
    return [_single(scene, number, drop, size, variance, slip) for slip in _fitting(scene, number, size)]


def _fitting(scene: Scene, number: int, size: float) -> list[str]:
    if not scene.shots[number].is_distance:
        return ["misread"]
    if abs(size) > PAST_M:
        return ["past target" if size > 0.0 else "in the beam"]
    slips = ["misread"]
    if EDGE_M[0] < abs(size) < EDGE_M[1]:
        slips.append("edge")
    return slips


def _single(scene: Scene, number: int, drop: float, size: float, variance: float, slip: str) -> Guess:
    least = _LEAST_SIZE if scene.shots[number].is_distance else _LEAST_TILT
    density = {
        "past target": 1.0 / 10.0,
        "in the beam": 1.0 / 10.0,
        "edge": 0.5 / (EDGE_M[1] - EDGE_M[0]),
    }.get(slip) or log_uniform(size, least, _SPAN["misread"])
    score = free_score(drop, density, variance, COST[slip])
    return Guess(slip=slip, shots=(number,), drop=drop, score=score, size=size)


def _runs(scene: Scene) -> Iterator[Guess]:
    """Yield runs of shots that a wrong reference edge explains: of one length, from one shot on."""
    among = scene.distances
    if len(among) < 2:
        return
    drop, size, variance = score_runs(scene.linear, among)
    fits = (np.abs(size) > EDGE_M[0]) & (np.abs(size) < EDGE_M[1]) & (drop > COST["edge"])
    np.fill_diagonal(fits, val=False)
    if not fits.any():
        return
    first, last = np.unravel_index(int(np.argmax(np.where(fits, drop, -1.0))), drop.shape)
    best = float(drop[first, last])
    for start, end in np.argwhere(fits & (drop > best - 12.0))[:40].tolist():
        score = free_score(
            float(drop[start, end]), 0.5 / (EDGE_M[1] - EDGE_M[0]), float(variance[start, end]), COST["edge"] + 2.0
        )  # fmt: skip
        shots = tuple(among[start : end + 1].tolist())
        yield Guess(slip="edge", shots=shots, drop=float(drop[start, end]), score=score, size=float(size[start, end]))


@dataclass(frozen=True, slots=True)
class _Windows:
    """Shots that a target's move would touch: ``target`` of each window, its ``signs`` ``(h, m)``, and the kind.

    A sign is +1 where the target is the far end of the shot, -1 where it is the near one, 0 elsewhere.
    """

    target: tuple[str, ...]
    signs: Array
    whole: NDArray[np.bool_]


def _windows(scene: Scene) -> _Windows | None:
    """Return for each target the shots from one on: all of them, or until it was turned and hung anew."""
    touched = [
        (number, end, targets[end], (line.start_turns, line.end_turns)[end])
        for number in map(int, scene.distances)
        for line, targets in ((line_of(scene, number), scene.shots[number].shot.targets),)
        for end in (0, 1)
        if targets[0] != targets[1]
    ]
    if not touched:
        return None
    names: list[str] = [target for _, _, target, _ in touched]
    known = {name: number for number, name in enumerate(dict.fromkeys(names))}
    number, end, state = (np.array([touch[part] for touch in touched]) for part in (0, 1, 3))
    target = np.array([known[name] for name in names])
    same = target[:, None] == target[None, :]
    later = same & (number[None, :] >= number[:, None])
    once = later & (state[None, :] == state[:, None])
    cut = (once != later).any(axis=1)  # where the target is never turned again the two are the same
    place = np.zeros((len(touched), len(scene.shots)))
    place[np.arange(len(touched)), number] = 2.0 * end - 1.0
    masks = np.concatenate((later, once[cut]))
    whole = np.concatenate(((later == same).all(axis=1), np.zeros(int(cut.sum()), dtype=np.bool_)))
    owners = [*names, *(name for name, of in zip(names, cut.tolist(), strict=True) if of)]
    return _Windows(tuple(owners), masks @ place, whole)


def _moved_targets(scene: Scene, least: float) -> Iterator[Guess]:
    windows = _windows(scene)
    if windows is None:
        return
    several = np.count_nonzero(windows.signs, axis=1) > 1
    yield from _single_moves(scene, windows, ~several & ~windows.whole, least)
    cost = np.where(windows.whole, COST["badly set"], COST["target moved"])
    columns = windows.signs[several][:, :, None] * scene.directions[None, :, :]
    kept = np.flatnonzero(several)
    both = score_columns(scene.linear, columns)
    for which in np.flatnonzero(both.drop > max(least + 14.0, 4.0)).tolist():
        size = float(np.hypot(*both.size[which]))
        if size > _MOST_MOVED_M:
            continue
        density = 1.0 / (2.0 * math.pi * max(size, 2.0 * _LEAST_SIZE) ** 2 * _SPAN["moved"])
        spread = float(np.linalg.slogdet(both.covariance[which])[1]) + 2.0 * math.log(2.0 * math.pi)
        score = float(both.drop[which]) + 2.0 * math.log(density) + spread - float(cost[kept[which]])
        shift = tuple(both.size[which].tolist())
        yield _move(windows, int(kept[which]), float(both.drop[which]), score, size, shift)
    for axis in (0, 1):
        scored = score_columns(scene.linear, columns[:, :, [axis]])
        for which in np.flatnonzero(scored.drop > max(least + 10.0, 4.0)).tolist():
            size, variance = float(scored.size[which, 0]), float(scored.covariance[which, 0, 0])
            if abs(size) > _MOST_MOVED_M:
                continue
            density = log_uniform(size, _LEAST_SIZE, _SPAN["moved"])
            score = free_score(float(scored.drop[which]), density, variance, float(cost[kept[which]]))
            shift = (size, 0.0) if axis == 0 else (0.0, size)
            yield _move(windows, int(kept[which]), float(scored.drop[which]), score, abs(size), shift)


def _single_moves(scene: Scene, windows: _Windows, last: NDArray[np.bool_], least: float) -> Iterator[Guess]:
    """Yield moves that touch one shot alone: nothing but the odds tells them from a misreading of it."""
    for which in np.flatnonzero(last).tolist():
        number = int(np.flatnonzero(windows.signs[which])[0])
        drop, share = float(scene.w[number] ** 2), float(scene.linear.redundancy[number])
        if drop < least + 10.0 or share < 1e-6:
            continue
        size = float(scene.linear.misfit[number]) / share
        if abs(size) > _MOST_MOVED_M:
            continue
        density = log_uniform(size, _LEAST_SIZE, _SPAN["moved"])
        score = free_score(drop, density, float(scene.linear.sd[number] ** 2) / share, COST["target moved"] + 1.0)
        toward = windows.signs[which, number] * size * scene.directions[number]
        yield _move(windows, which, drop, score, abs(size), tuple(toward.tolist()))


def _move(windows: _Windows, which: int, drop: float, score: float, size: float, shift: tuple[float, ...]) -> Guess:
    slip = "badly set" if windows.whole[which] else "target moved"
    shots = tuple(np.flatnonzero(windows.signs[which]).tolist())
    detail = {"target": windows.target[which], "shift": shift}
    return Guess(slip=slip, shots=shots, drop=drop, score=score, size=size, detail=detail)


def _moved_axles(scene: Scene, least: float) -> Iterator[Guess]:
    """Yield what stood otherwise from some shot on: the steering, an axle, or all axles against the frame."""
    levers = _levers(scene)
    rigid, single = dict[str, Array](), list[tuple[str, Array]]()
    for unit in scene.model.units:
        for axle in unit.axles:
            if axle.steer is not None:
                # both wheels turn together: the two columns are one
                turned = scene.linear.jacobian[:, list(axle.steer)].sum(axis=1, keepdims=True)
                single.append((f"{axle.name}: steering", turned))
            if len(unit.axles) > 1:
                rigid[axle.name] = _rigid(scene, levers, scene.stations.on_axle(unit.id, axle.id))
        every = _rigid(scene, levers, scene.stations.on_axle(unit.id, None))
        rigid[f"the axles of the {unit.name}"] = every
        single += [(f"the axles of the {unit.name}", every[:, [axis]]) for axis in (0, 1)]
    yield from _from_shot_on(scene, list(rigid.items()), least)
    yield from _from_shot_on(scene, single, least)


def _levers(scene: Scene) -> tuple[Array, Array]:
    """Return how a shift along, across and a turn of its start, and of its end, lengthen each shot: ``(m, 3)`` both."""
    direction = scene.directions
    start, end = (
        np.column_stack((direction, place[:, 0] * direction[:, 1] - place[:, 1] * direction[:, 0]))
        for place in (scene.stations.places[numbers] for numbers in scene.ends)
    )  # fmt: skip
    return -start, end


def _rigid(scene: Scene, levers: tuple[Array, Array], names: Collection[str]) -> Array:
    """Return the columns ``(m, 3)`` of a shift along, a shift across and a turn of the stations ``names`` together."""
    own = np.zeros(len(scene.stations.numbers) + 1, dtype=bool)  # the last is no station: an inclination's end
    own[[scene.stations.numbers[name] for name in names]] = True
    start, end = scene.ends
    return own[start][:, None] * levers[0] + own[end][:, None] * levers[1]


def _from_shot_on(scene: Scene, named: list[tuple[str, Array]], least: float) -> Iterator[Guess]:
    """Yield the columns ``(m, q)`` of each name switched on from some shot on; ``q`` is the same for all."""
    count = len(scene.shots)
    later = np.arange(count)[None, :] >= np.arange(count)[:, None]
    windows: list[tuple[str, Index]] = []
    blocks: list[Array] = []
    for name, columns in named:
        touched = np.flatnonzero(np.abs(columns).max(axis=1, initial=0.0) > 1e-9)
        starts: Index = touched[1:-1]
        windows += [(name, touched[place:]) for place in range(1, len(starts) + 1)]
        blocks.append(columns[None, :, :] * later[starts][:, :, None])
    if not windows:
        return
    scored = score_columns(scene.linear, np.concatenate(blocks))
    for which in np.flatnonzero(scored.drop > max(least + COST["vehicle moved"], 4.0)).tolist():
        name, touched = windows[which]
        sizes, spread = np.abs(scored.size[which]), float(np.linalg.slogdet(scored.covariance[which])[1])
        if float(sizes.max()) > _MOST_MOVED_M:
            continue
        # a metre of lever makes a turn comparable to a shift
        density = sum(math.log(log_uniform(size, _LEAST_SIZE, _SPAN["moved"])) for size in sizes.tolist())
        score = float(scored.drop[which]) + 2.0 * density + spread + len(sizes) * math.log(2.0 * math.pi)
        yield Guess(
            slip="vehicle moved", shots=tuple(touched.tolist()), drop=float(scored.drop[which]),
            score=score - COST["vehicle moved"], detail={"axle": name},
        )  # fmt: skip


def line_of(scene: Scene, number: int) -> Sight:
    """Return the sight of a shot that is a distance."""
    line = scene.shots[number].line
    if not isinstance(line, Sight):
        raise TypeError(f"{scene.shots[number].shot.id} is not a distance")
    return line
