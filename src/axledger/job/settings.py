"""How well targets are set: the parts of a setting error and their standard deviations.

Every target's placement error is ``bias`` (of the object, turns with it) + ``seating`` (fresh at each hanging)
+ ``hub`` (hub or rim against the true axis) + ``rest`` (drop, hook). The defaults are generic working figures
of our own, checked by nothing but simulation; a layout may state its own.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["DEFAULT_SETTINGS", "MountKind", "Setting"]


Millimetres = Annotated[float, Field(ge=0, le=1000)]


class MountKind(Enum):
    """What a target is and what it stands on."""

    HUB = "hub"
    INBOARD = "inboard"
    STRAIGHTEDGE = "straightedge"
    RAIL = "rail"
    PIN = "pin"
    FLOOR = "floor"


class Setting(BaseModel):
    """Standard deviations of one kind of setting, mm.

    ``bias``, ``seating``, ``hub``, ``rest`` act along the vehicle. ``across`` acts sideways and belongs to the
    hanging. ``span`` is the prior of the half-spacing that left and right share. ``along`` is the prior of a
    place along the vehicle that the reading has to find (rail targets). ``end`` is each straightedge end's
    length and straightness error.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    bias: Millimetres = 0.0
    seating: Millimetres = 0.0
    hub: Millimetres = 0.0
    rest: Millimetres = 0.0
    across: Millimetres = 0.0
    span: Millimetres = 0.0
    along: Millimetres = 0.0
    end: Millimetres = 0.0


DEFAULT_SETTINGS: dict[MountKind, Setting] = {
    MountKind.HUB: Setting(bias=0.40, seating=0.20, hub=0.15, rest=0.15, across=1.0, span=5.0),
    MountKind.STRAIGHTEDGE: Setting(bias=0.60, seating=0.70, hub=0.30, rest=0.20, across=1.0, span=10.0, end=0.15),
    MountKind.INBOARD: Setting(bias=0.50, seating=0.80, rest=0.30, across=1.0, span=10.0),
    MountKind.RAIL: Setting(across=1.0, span=10.0, along=50.0),
    MountKind.PIN: Setting(rest=0.20, across=0.20),
    MountKind.FLOOR: Setting(),
}
