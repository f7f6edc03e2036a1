"""What one reading is of: a distance between two stations, or an inclination somewhere."""

from __future__ import annotations

from dataclasses import dataclass

from axledger.job.earlier import NOW, Before

__all__ = ["Sight", "Tilt"]


@dataclass(frozen=True, slots=True)
class Sight:
    """A distance between two stations, each with the number of half turns its target had made.

    ``start_before`` and ``end_before`` tell of a reading of an earlier round how often its axle was moved since.
    """

    start: str
    end: str
    start_turns: int = 0
    end_turns: int = 0
    start_before: Before = NOW
    end_before: Before = NOW


@dataclass(frozen=True, slots=True)
class Tilt:
    """An inclination or a turned angle on ``unit``: ``name`` as in ``tilts`` ("along", "face-out", "plate-in", ...).

    ``at`` is the station it is read at, empty for the floor's, which are the same everywhere.
    """

    unit: str
    name: str
    at: str = ""
