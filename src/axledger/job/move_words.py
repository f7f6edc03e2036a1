"""Moves in the words of the trade: which end, which way, how far, in millimetres, turns, shims or steps."""

from __future__ import annotations

import math

from axledger.job.adjusters import AxleShift, DragLink, LateralRod, TieRod
from axledger.job.controls import Handle

__all__ = ["CAUTIONS", "SIDES", "way_of", "words_of"]

SIDES = "Left and right as seen from the driver's seat; forward is the way the vehicle drives."

CAUTIONS = (
    "Chock the wheels first; nobody's hands in the steering linkage while someone turns the wheel.",
    "Follow the maker's procedure and torque every fastener that was moved to the maker's figure.",
    "Measure again after the moves: a move is believed when the next round shows it.",
)


def way_of(handle: Handle, amount_m: float) -> str:
    """Return the direction of a move: forward, rearward, left, right, longer or shorter."""
    ahead = amount_m > 0
    if isinstance(handle.adjuster, AxleShift):
        return "forward" if ahead else "rearward"
    if isinstance(handle.adjuster, LateralRod):
        return "left" if ahead else "right"
    return "longer" if ahead else "shorter"


def words_of(handle: Handle, amount_m: float) -> str:
    """Return the move as one line: "move the left end of drive axle 2 forward 3.4 mm at the spring mount"."""
    adjuster, axle = handle.adjuster, handle.axle.name
    way, size_mm = way_of(handle, amount_m), abs(amount_m) * 1000
    if isinstance(adjuster, AxleShift):
        stays = f"the {_other(handle.end)} end stays" if adjuster.pivot == "other end" else "about the axle's centre"
        line = f"move the {handle.end} end of {axle} {way} {size_mm:.1f} mm at the {adjuster.at}"
        return f"{line} ({_joined(_steps(adjuster, amount_m), stays)})"
    if isinstance(adjuster, LateralRod):
        counted = _steps(adjuster, amount_m)
        line = f"move {axle} to the {way} {size_mm:.1f} mm at the lateral rod"
        return f"{line} ({counted})" if counted else line
    rod = _rod_name(adjuster)
    turns = f"{size_mm / adjuster.mm_per_turn:.2f} of a turn" if size_mm < adjuster.mm_per_turn else ""
    turns = turns or f"{size_mm / adjuster.mm_per_turn:.2f} turns"
    return f"make the {rod} of {axle} {way} by {size_mm:.2f} mm ({turns}; {_turned(adjuster, amount_m)})"


def _other(end: str) -> str:
    return "right" if end == "left" else "left"


def _joined(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _steps(adjuster: AxleShift | LateralRod, amount_m: float) -> str:
    """Return the amount as it is counted at the adjuster, with what gets longer where the layout says so."""
    size_mm, forward = abs(amount_m) * 1000, amount_m > 0
    ahead = adjuster.longer in ("forward", "left")
    grows = "" if adjuster.longer is None else "longer" if forward == ahead else "shorter"
    shims = isinstance(adjuster, AxleShift) and adjuster.at == "shim pack" and adjuster.step_mm > 0
    if shims:
        count = round(size_mm / adjuster.step_mm)
        act = {"longer": "add ", "shorter": "take out ", "": ""}[grows]
        return f"{act}{count} {'shim' if count == 1 else 'shims'} of {adjuster.step_mm:g} mm"
    rod = f"rod {grows}" if grows else ""
    if adjuster.mm_per_turn:
        return _joined(f"{size_mm / adjuster.mm_per_turn:.2f} turns", rod)
    if adjuster.step_mm:
        count = round(size_mm / adjuster.step_mm)
        return _joined(f"{count} {'step' if count == 1 else 'steps'} of {adjuster.step_mm:g} mm", rod)
    return rod


def _rod_name(adjuster: TieRod | DragLink) -> str:
    if isinstance(adjuster, DragLink):
        return "drag link"
    return "tie rod" if adjuster.rod == "single" else f"{adjuster.rod} tie rod"


def _turned(adjuster: TieRod | DragLink, amount_m: float) -> str:
    angle = f"{math.degrees(math.asin(min(1.0, abs(amount_m) * 1000 / adjuster.arm_mm))):.2f} deg"
    if isinstance(adjuster, DragLink):
        left = (amount_m > 0) == (adjuster.longer == "left")
        return f"both wheels turn {angle} to the {'left' if left else 'right'}"
    inward = (amount_m > 0) == (adjuster.longer == "toe-in")
    return f"the {adjuster.wheel} wheel toes {'in' if inward else 'out'} {angle}"
