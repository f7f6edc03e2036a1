"""Which offer brings most per second: by how much of the missing variance it takes away, all aims together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import groupby

import numpy as np

from axledger.geometry.adjustment import Array
from axledger.job.offers import Kind, Offer, Yard
from axledger.job.plan import Shot
from axledger.job.prospect import Prospect
from axledger.job.solution import Line

__all__ = ["Rated", "best_first", "looks", "turns_of", "waiting_shots"]

Rated = tuple[float, float, Callable[[], Offer]]
"""What an offer brings per second, what it brings at all, and how to make it: few of many are ever made."""

_WORTH = 0.01
"""What brings less than this share of what one aim is missing is no advice."""
_GROUP = 3
"""So many lines are shot after one turn at most."""


def best_first(rated: Sequence[Rated]) -> list[Offer]:
    """Return the offers worth their while, best per second first; equals stay in order."""
    worth = [one for one in rated if one[1] > _WORTH]
    return [make() for _, _, make in sorted(worth, key=lambda one: -one[0])]


def _progress(prospect: Prospect, left: Array) -> Array:
    """Return how much of the missing variance is gone at uncertainties ``left`` ``(..., r)``, summed over the aims."""
    now = prospect.u**2
    missing = np.maximum(now - prospect.wanted**2, 0.0)
    share = np.divide(now - left**2, missing, out=np.zeros_like(left), where=missing > 0.0)
    return np.asarray(np.clip(share, 0.0, 1.0).sum(axis=-1))


def _alone(prospect: Prospect, lines: Sequence[Line], readings: Sequence[int]) -> list[float]:
    return _progress(prospect, prospect.left_alone(lines, readings)).tolist() if lines else []


def waiting_shots(prospect: Prospect, offers: Sequence[Offer]) -> list[Rated]:
    """Return the offers of one line each, rated."""
    gains = _alone(prospect, [offer.lines[0] for offer in offers], [offer.readings for offer in offers])
    return [(gain / offer.seconds, gain, partial(_same, offer)) for gain, offer in zip(gains, offers, strict=True)]


def _same(offer: Offer) -> Offer:
    return offer


def looks(prospect: Prospect, yard: Yard, turns: Mapping[str, int]) -> list[Rated]:
    """Return every line as its targets hang at ``turns``, rated."""
    seen = yard.present(turns)
    kinds: list[Kind] = [yard.kind_of(shot, line) for shot, line in seen]
    gains = _alone(prospect, [line for _, line in seen], [yard.readings_of(kind) for kind in kinds])
    return [
        (gain / yard.look_s(shot, kind), gain, partial(yard.look, shot, line))
        for gain, kind, (shot, line) in zip(gains, kinds, seen, strict=True)
    ]


def turns_of(prospect: Prospect, yard: Yard, turns: Mapping[str, int], most: int | None = None) -> list[Rated]:
    """Return for each target the best there is to shoot after turning it, rated; for the ``most`` best of them."""
    single = [
        (target, shot, line)
        for target in yard.turnable
        if target not in yard.pending
        for shot, line in yard.seeing(target, {**turns, target: turns.get(target, 0) + 1})
    ]
    gains = _alone(prospect, [line for _, _, line in single], [yard.repeats] * len(single))
    by_target = [
        (target, sorted(((gain, shot, line) for gain, (_, shot, line) in group), key=lambda one: -one[0]))
        for target, group in groupby(zip(gains, single, strict=True), key=lambda one: one[1][0])
    ]
    by_target.sort(key=lambda one: -one[1][0][0] / yard.turning_s(one[0], [one[1][0][1]]))
    return [_best_group(prospect, yard, target, seen) for target, seen in by_target[:most]]


def _best_group(prospect: Prospect, yard: Yard, target: str, seen: Sequence[tuple[float, Shot, Line]]) -> Rated:
    """Return the target's best line after the turn, or that and the next ones where those repay their time."""
    lines = [(shot, line) for _, shot, line in seen]
    rated: list[Rated] = []
    for count in range(1, min(_GROUP, len(lines)) + 1):
        some = lines[:count]
        gain = seen[0][0]
        if count > 1:
            gain = float(_progress(prospect, prospect.left_together([line for _, line in some], yard.repeats)))
        rate = gain / yard.turning_s(target, [shot for shot, _ in some])
        rated.append((rate, gain, partial(yard.turned, target, some)))
    return max(rated, key=lambda one: one[0])
