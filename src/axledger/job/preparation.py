"""The preparation list, and the cautions every view shows.

Cautions defer to local codes, the makers' procedures and licensed practice. Sources: HSE (UK) INDG434 "Working
safely under motor vehicles being repaired" and HSG261 summary (jacks, stands, chocks, air suspension); 29 CFR
1910.178(k)(1) (brakes set, wheels chocked); IEC 60825-1 as summarised by instrument suppliers (laser class 2);
the rest common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CAUTIONS", "PREPARATION", "PreparationItem"]


@dataclass(frozen=True, slots=True)
class PreparationItem:
    """One line of the list: its ``id`` in acts and its ``words``."""

    id: str
    words: str


PREPARATION: tuple[PreparationItem, ...] = (
    PreparationItem("chocks", "wheels chocked; brakes released only after that"),
    PreparationItem("tyres", "tyre sizes, wear and pressures looked at and equal across each axle"),
    PreparationItem("play", "play in steering, wheel bearings and suspension looked for and mended first"),
    PreparationItem("settled", "vehicle rolled straight to and fro, suspension settled at driving height"),
    PreparationItem("steering", "steering straight ahead and left alone from now on"),
    PreparationItem("trailer", "trailer, if any, uncoupled on its own supports at its level height"),
    PreparationItem("targets", "targets hung, arrow marks up, straightedges level"),
    PreparationItem("edge", "the meter set to measure from its rear edge"),
    PreparationItem("meters", "meter and inclinometer tried today on a known length and a known slope"),
)

CAUTIONS: tuple[str, ...] = (
    "Chock the wheels before brakes are released. A vehicle on the floor can still roll.",
    "Never go under a vehicle that is held by a jack only; use stands in good order on firm ground.",
    "An uncoupled trailer stands on its own supports on firm ground, and can still tip.",
    "Do not go under air suspension unless the frame is propped or the air is let out. Loads shift.",
    "Laser class 2: do not look into the beam, keep it off faces and mirrors, switch it off when idle.",
    "Nobody's hands in the steering linkage while someone turns the wheel.",
    "Torque every fastener that was moved to the maker's figure; road test after work.",
    "Local codes, the makers' procedures and licensed practice come first.",
    "These are measurements, not a roadworthiness certificate.",
)
