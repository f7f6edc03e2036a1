"""Human slips: what a technician does instead of the wanted shot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from axledger.job.layout import Station
from axledger.job.settings import MountKind

__all__ = [
    "ALONE",
    "EDGE_M",
    "Slip",
    "SlipKind",
    "Slipping",
    "past_target",
    "reference_edge",
    "swapped_side",
    "unit_taken_wrong",
    "wrong_neighbour",
]

EDGE_M = 0.120
"""Length of the invented meter: measuring from its other edge changes every reading by this much."""
_FEET_AS_METRES = 1 / 0.3048  # foot = 0.3048 m: International Yard and Pound agreement, 1959
_WALL_M = (6.0, 9.0)


class SlipKind(Enum):
    """Kinds of slips."""

    SWAPPED_SIDE = "swapped side"
    PAST_TARGET = "beam past the target"
    WRONG_NEIGHBOUR = "wrong neighbour"
    REFERENCE_EDGE = "reference edge"
    UNIT = "unit"
    OTHER_SHOT = "other shot"
    MISREAD = "misread"


ALONE = (
    SlipKind.SWAPPED_SIDE, SlipKind.PAST_TARGET, SlipKind.WRONG_NEIGHBOUR, SlipKind.REFERENCE_EDGE, SlipKind.UNIT
)  # fmt: skip
"""Kinds that a single shot is enough to make; the others need the plan or a size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """What is done instead: aim at ``end``; ``past`` its plate to a wall at ``wall_m``; then reading * factor + add.

    ``start`` is where the meter stands, empty where it stands as wanted. Lengths in metres.
    """

    kind: SlipKind
    end: str
    start: str = ""
    past: bool = False
    wall_m: float = 7.5
    add_m: float = 0.0
    factor: float = 1.0

    def reading_m(self, beam_m: float) -> float:
        """Return the length that the meter would show free of its own errors, for a beam of ``beam_m``."""
        return beam_m * self.factor + self.add_m


def swapped_side(start: str, end: str, stations: Sequence[Station]) -> Slip | None:
    """Return the slip of aiming at the same mark on the other side, or ``None`` where there is none."""
    aimed = _named(end, stations)
    others = [s.name for s in stations if s.mount == aimed.mount and s.part == aimed.part and s.side == -aimed.side]
    found = next((name for name in others if name not in (start, end)), None)
    return None if found is None else Slip(kind=SlipKind.SWAPPED_SIDE, end=found)


def wrong_neighbour(start: str, end: str, stations: Sequence[Station]) -> Slip | None:
    """Return the slip of aiming at the nearest other station of the same side and kind, or ``None``."""
    aimed = _named(end, stations)
    alike = [
        s
        for s in stations
        if s.name not in (start, end) and s.side == aimed.side and s.mount.kind is aimed.mount.kind
        and s.mount.kind is not MountKind.FLOOR
    ]  # fmt: skip
    nearest = min(alike, key=lambda s: (abs(s.place_m[0] - aimed.place_m[0]), s.name), default=None)
    return None if nearest is None else Slip(kind=SlipKind.WRONG_NEIGHBOUR, end=nearest.name)


def past_target(end: str, rng: np.random.Generator, *, wall_m: float | None = None) -> Slip:
    """Return the slip of missing the plate: the beam goes on to the next solid, or to a wall 6 to 9 m away."""
    wall = float(rng.uniform(*_WALL_M)) if wall_m is None else wall_m
    return Slip(kind=SlipKind.PAST_TARGET, end=end, past=True, wall_m=wall)


def reference_edge(end: str, edge_m: float = EDGE_M) -> Slip:
    """Return the slip of measuring from the meter's front edge: readings short by its length ``edge_m``."""
    return Slip(kind=SlipKind.REFERENCE_EDGE, end=end, add_m=-edge_m)


def unit_taken_wrong(end: str) -> Slip:
    """Return the slip of a meter set to feet whose figures are taken for metres."""
    return Slip(kind=SlipKind.UNIT, end=end, factor=_FEET_AS_METRES)


class Slipping:
    """Slips of one technician: each shot slips with probability ``rate``, the kind drawn evenly from ``kinds``."""

    def __init__(self, seed: int, rate: float, kinds: Sequence[SlipKind] = ALONE) -> None:
        self._rng = np.random.default_rng([seed, 12])
        self.rate = rate
        self.kinds = tuple(kinds)

    def next(self, start: str, end: str, stations: Sequence[Station]) -> Slip | None:
        """Return what is done instead of the shot ``start`` to ``end``, or ``None``: it is done as wanted.

        A kind that this pair does not allow (no other side, no neighbour) becomes a shot as wanted, and so does one
        that a single shot does not make.
        """
        slips, which = self._rng.random() < self.rate, int(self._rng.integers(len(self.kinds)))
        return self.make(self.kinds[which], start, end, stations) if slips else None

    def make(self, kind: SlipKind, start: str, end: str, stations: Sequence[Station]) -> Slip | None:
        """Return the slip of ``kind`` for a shot, or ``None`` where the pair does not allow it."""
        match kind:
            case SlipKind.SWAPPED_SIDE:
                return swapped_side(start, end, stations)
            case SlipKind.WRONG_NEIGHBOUR:
                return wrong_neighbour(start, end, stations)
            case SlipKind.PAST_TARGET:
                return past_target(end, self._rng)
            case SlipKind.REFERENCE_EDGE:
                return reference_edge(end)
            case SlipKind.UNIT:
                return unit_taken_wrong(end)
            case SlipKind.OTHER_SHOT | SlipKind.MISREAD:
                return None


def _named(name: str, stations: Sequence[Station]) -> Station:
    return next(station for station in stations if station.name == name)
