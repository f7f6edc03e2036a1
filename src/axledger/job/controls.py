"""From a layout's adjusters to what they do to the network's parameters, less what was moved already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from axledger.geometry.moves import Control, Effect
from axledger.geometry.results import AxleGeometry, UnitGeometry
from axledger.job.adjusters import AnyAdjuster, AxleShift, DragLink, LateralRod, TieRod, name_of
from axledger.job.board import MadeMove
from axledger.job.layout import Axle, Unit

__all__ = ["Handle", "handles_of"]

_SET_SD_MM = 0.2
"""How well an end is shifted by the amount wanted (own working figure)."""
_TURN_SD = 1.0 / 60.0
"""How well a rod's turn is made against a mark: 6 degrees of it (own working figure)."""
_FINEST_MM, _FINEST_TURN = 0.1, 0.02
"""The finest amount that is worth saying to a person who turns or slides (own working figures)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Handle:
    """One adjuster at one end, as a control: ``name`` with the unit's id, ``end`` "left", "right" or ""."""

    name: str
    end: str
    unit: Unit
    axle: Axle
    adjuster: AnyAdjuster
    control: Control

    @property
    def steers(self) -> bool:
        """Tell whether it turns wheels and leaves the axle where it is."""
        return isinstance(self.adjuster, TieRod | DragLink)


def handles_of(unit: Unit, geometry: UnitGeometry, made: Sequence[MadeMove] = ()) -> tuple[Handle, ...]:
    """Return every adjuster of ``unit`` at each of its ends; ``geometry`` is freed. ``made`` shortens the ranges."""
    axles = {axle.code: axle for axle in unit.axle}
    places = {axle.id: axle for axle in geometry.axles}
    handles: list[Handle] = []
    for adjuster in unit.adjuster:
        axle = axles[adjuster.axle]
        name = f"{unit.id}.{name_of(adjuster, axle.id)}"
        for end in adjuster.ends if isinstance(adjuster, AxleShift) else ("",):
            used = sum(move.amount_m for move in made if (move.adjuster, move.end) == (name, end))
            control = _control(f"{name} {end}".strip(), adjuster, end, places[axle.id], used)
            handles.append(
                Handle(name=name, end=end, unit=unit, axle=axle, adjuster=adjuster, control=control)
            )  # fmt: skip
    return tuple(handles)


def _control(name: str, adjuster: AnyAdjuster, end: str, axle: AxleGeometry, used_m: float) -> Control:
    turn_mm = adjuster.mm_per_turn
    if isinstance(adjuster, TieRod | DragLink):
        low_mm, high_mm = (turns * adjuster.mm_per_turn for turns in adjuster.range_turns)
        step_mm = (adjuster.step_turns or _FINEST_TURN) * adjuster.mm_per_turn
    else:
        low_mm, high_mm = adjuster.range_mm
        step_mm = adjuster.step_mm or (_FINEST_TURN * turn_mm if turn_mm else _FINEST_MM)
    sd_mm = max(_TURN_SD * turn_mm, 0.0) if isinstance(adjuster, TieRod | DragLink) and turn_mm else _SET_SD_MM
    return Control(
        name=name,
        effects=_effects(adjuster, end, axle),
        low_m=min(0.0, low_mm / 1000 - used_m),
        high_m=max(0.0, high_mm / 1000 - used_m),
        step_m=step_mm / 1000,
        sd_m=sd_mm / 1000,
    )


def _effects(adjuster: AnyAdjuster, end: str, axle: AxleGeometry) -> tuple[Effect, ...]:
    if isinstance(adjuster, AxleShift):
        # the left end forward turns the axle clockwise seen from above
        sign = -1.0 if end == "left" else 1.0
        spacing_m = 2.0 * adjuster.mount_half_m
        if adjuster.pivot == "centre":
            return (Effect(axle.yaw, sign, spacing_m / 2.0),)
        return Effect(axle.yaw, sign, spacing_m), Effect(axle.x, 0.5)
    if isinstance(adjuster, LateralRod):
        return (Effect(axle.y, 1.0),)
    left, right = axle.steer or (0, 0)
    arm_m = adjuster.arm_mm / 1000
    if isinstance(adjuster, DragLink):
        sign = 1.0 if adjuster.longer == "left" else -1.0
        return tuple(Effect(wheel, sign, arm_m, by_sine=True) for wheel in (left, right))
    inward = 1.0 if adjuster.longer == "toe-in" else -1.0
    turned = Effect(left, -inward, arm_m, by_sine=True), Effect(right, inward, arm_m, by_sine=True)
    return (turned[0 if adjuster.wheel == "left" else 1],)
