"""The words for inclinations and turn angles: where an instrument is laid, and at which steering position.

``along`` and ``across`` are of the floor. At a wheel: ``face`` is square to the wheel's face, ``face-rolled`` the
same after the vehicle has rolled half a wheel turn; ``out`` and ``in`` are the steered positions, front of the wheel
turned outward or inward; ``level`` lies in the wheel plane with the brake on; ``plate`` is the angle read off a
turning plate, both ways positive. ``frame`` lies along the frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

from axledger.job.settings import MountKind

__all__ = ["FLOOR_TILTS", "FRAME_TILT", "LEAST_TURN_RAD", "SWEEP_TILTS", "WHEEL_TILTS", "Position", "Role", "TiltName",
           "misplaced", "position_of", "role_of_tilt", "steered_to", "sweep_fault"]  # fmt: skip

TiltName = Literal[
    "along", "along-turned", "across", "across-turned", "frame", "face", "face-rolled", "face-out", "face-in",
    "level-out", "level-in", "plate-out", "plate-in",
]  # fmt: skip
Role = Literal["meter", "inclinometer", "plate"]
Position = Literal["", "out", "in"]

FLOOR_TILTS = frozenset({"along", "along-turned", "across", "across-turned"})
FRAME_TILT = "frame"
SWEEP_TILTS = ("face-out", "face-in", "level-out", "level-in", "plate-out", "plate-in")
WHEEL_TILTS = frozenset({"face", "face-rolled", *SWEEP_TILTS})

LEAST_TURN_RAD = 0.1396
"""The smallest turn each way that a sweep is taken from: 8 degrees, a working figure of our own. At 8 degrees each
way an error in a camber reading counts 3.6 times in the caster, at 20 degrees 1.5 times."""


def role_of_tilt(tilt: str) -> Role:
    """Return which of a job's instruments reads ``tilt``."""
    return "plate" if tilt.startswith("plate-") else "inclinometer"


def position_of(tilt: str) -> Position:
    """Return the steering position of ``tilt``: empty for straight ahead."""
    return "out" if tilt.endswith("-out") else "in" if tilt.endswith("-in") else ""


def steered_to(tilt: str, side: int) -> int:
    """Return where the steering stands for ``tilt`` at the wheel of ``side``: +1 to the left, -1 right, 0 ahead.

    The left wheel turned out and the right wheel turned in are one position of the steering.
    """
    return {"": 0, "out": side, "in": -side}[position_of(tilt)]


def misplaced(tilt: str, kind: MountKind, *, wheel: bool, steers: bool) -> str:
    """Say in words why ``tilt`` cannot be read at a station, or nothing.

    ``wheel``: the station is a hub target or the centre mark of a straightedge; ``steers``: of a steer axle.
    """
    if tilt in FLOOR_TILTS:
        return "" if kind is MountKind.FLOOR else "inclinations of the floor are taken at a floor mount"
    if tilt == FRAME_TILT:
        return "" if kind is MountKind.RAIL else "the frame's inclination is taken at a rail mount"
    if not wheel:
        return f"{tilt} is taken at a wheel: at a hub target or at the centre mark of a straightedge"
    if tilt in SWEEP_TILTS and not steers:
        return f"{tilt} is taken at a wheel that steers"
    return ""


def sweep_fault(places: Sequence[tuple[str, int, str]]) -> str:
    """Say in words why a walk's steering sweep cannot give caster, or nothing.

    ``places``: station, side (+1 left) and tilt of every stop of the walk, in order.
    """
    swept = [(station, steered_to(tilt, side)) for station, side, tilt in places if tilt in SWEEP_TILTS]
    for station in dict.fromkeys(name for name, _ in swept):
        taken = {tilt for name, _, tilt in places if name == station}
        if missing := sorted({"face-out", "face-in", "plate-out", "plate-in"} - taken):
            return (
                f"the sweep at {station} lacks {', '.join(missing)}: caster takes both turned positions and both angles"
            )
    ways = [way for _, way in swept]
    changes = sum(before != after for before, after in pairwise(ways))
    if changes > 1:
        return (
            "the sweep goes back and forth: all readings with the steering to one side come first, then all to the "
            "other (left wheel turned out and right wheel turned in are one position of the steering)"
        )
    return ""
