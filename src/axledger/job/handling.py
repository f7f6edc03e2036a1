"""How long one person takes over what a job asks for: working figures of our own, measured nowhere.

They rank what to do next by what a minute buys, and nothing else.
"""

from __future__ import annotations

from axledger.job.settings import MountKind

__all__ = ["READING_S", "SHOT_S", "STAND_S", "TURN_S", "shooting_s"]

SHOT_S, READING_S, STAND_S = 10.0, 3.0, 5.0
"""The first reading of a shot, each further one, and going to another station."""
TURN_S = {MountKind.HUB: 20.0, MountKind.STRAIGHTEDGE: 60.0, MountKind.INBOARD: 30.0}
"""A hub target turned half a turn, a straightedge laid end for end, an inboard target hung turned."""


def shooting_s(starts: list[str], readings: int, standing: str) -> float:
    """Return the time of shots from ``starts``, in order, with ``readings`` each, by who stands at ``standing``."""
    walks = sum(before != at for before, at in zip([standing, *starts], starts, strict=False))
    return STAND_S * walks + (SHOT_S + READING_S * (readings - 1)) * len(starts)
