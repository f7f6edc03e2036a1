"""Adjusters: what a shop can turn, slide or shim on a unit, as the layout declares it.

A range is counted from where the adjuster stands when the job opens, so it holds zero. Nothing is assumed of a
vehicle: an axle without a declared adjuster is never moved. No torque is held here, and none is ever named.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

__all__ = ["Adjuster", "AnyAdjuster", "AxleShift", "DragLink", "LateralRod", "TieRod", "faults_of", "name_of"]

Code = Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9]{0,3}$")]
Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]*$")]
Range = tuple[float, float]
End = Literal["left", "right"]
_LEAST_RATIO = 0.2
"""Mounts nearer together than a fifth of the track would turn a hair's breadth into a skewed axle: own figure."""


class _Declared(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    axle: Code
    id: Identifier | None = None


def _holds_zero(name: str, reach: Range) -> None:
    if not reach[0] <= 0.0 <= reach[1] or reach[0] == reach[1]:
        raise ValueError(f"{name} is empty or does not hold 0, where the adjuster stands: write [least, most]")


class _Rod(_Declared):
    """A threaded rod at a steering arm: ``arm_mm`` from the pivot to the rod's end, square to the rod."""

    mm_per_turn: Annotated[float, Field(ge=0.2, le=12.0)]
    arm_mm: Annotated[float, Field(ge=60.0, le=500.0)]
    range_turns: Range
    step_turns: Annotated[float, Field(ge=0.0, le=1.0)] = 0.0

    @model_validator(mode="after")
    def _range_is_one(self) -> _Rod:
        _holds_zero("range_turns", self.range_turns)
        if max(map(abs, self.range_turns)) * self.mm_per_turn > 0.5 * self.arm_mm:
            raise ValueError("range_turns would turn a wheel by more than 30 degrees: see mm_per_turn and arm_mm")
        return self


class TieRod(_Rod):
    """The tie rod of a steer axle.

    ``rod`` "single" joins both wheels and turns the wheel ``moves``, as the drag link holds the other; "left" and
    "right" are the rods of a two-rod linkage, each turning its own wheel. ``longer`` says what lengthening does.
    """

    kind: Literal["tie-rod"]
    rod: Literal["single", "left", "right"] = "single"
    moves: End = "right"
    longer: Literal["toe-in", "toe-out"]

    @property
    def wheel(self) -> End:
        """Return the wheel that is turned."""
        return self.moves if self.rod == "single" else self.rod


class DragLink(_Rod):
    """The drag link: its length turns both wheels of a steer axle alike; ``longer`` says which way."""

    kind: Literal["drag-link"]
    longer: Literal["left", "right"]


class _Shifted(_Declared):
    step_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 0.0
    mm_per_turn: Annotated[float, Field(ge=0.2, le=12.0)] | None = None
    range_mm: Range

    @model_validator(mode="after")
    def _range_is_one(self) -> _Shifted:
        _holds_zero("range_mm", self.range_mm)
        if max(map(abs, self.range_mm)) > 100.0:
            raise ValueError("range_mm reaches over 100 mm: no adjuster does")
        if self.step_mm > max(map(abs, self.range_mm)):
            raise ValueError("step_mm is larger than the whole range: not one step can be made")
        return self


class AxleShift(_Shifted):
    """One or both ends of an axle moved along the vehicle at their mounts, forward positive.

    ``mount_half_m``: half the distance between the two mounts. ``pivot``: what stays where it is meanwhile, the
    other end's mount or the axle's centre.
    """

    kind: Literal["axle-shift"]
    at: Literal["spring mount", "torque rod", "slide", "eccentric", "shim pack"] = "spring mount"
    side: Literal["left", "right", "both"] = "both"
    mount_half_m: Annotated[float, Field(gt=0.1, lt=2.0)]
    pivot: Literal["other end", "centre"] = "other end"
    longer: Literal["forward", "rearward"] | None = None

    @property
    def ends(self) -> tuple[End, ...]:
        """Return the ends that can be moved."""
        return ("left", "right") if self.side == "both" else (self.side,)


class LateralRod(_Shifted):
    """A rod that moves the whole axle sideways, left positive."""

    kind: Literal["lateral-rod"]
    longer: Literal["left", "right"] | None = None


AnyAdjuster = TieRod | DragLink | AxleShift | LateralRod
Adjuster = Annotated[AnyAdjuster, Field(discriminator="kind")]
"""Any of them; ``kind`` tells which."""


def name_of(adjuster: AnyAdjuster, axle_id: str) -> str:
    """Return the adjuster's name within its unit: its ``id``, or the axle's id and the kind."""
    return adjuster.id or f"{axle_id}-{_WORD[adjuster.kind]}{_rod(adjuster)}"


_WORD = {"tie-rod": "tie-rod", "drag-link": "drag-link", "axle-shift": "shift", "lateral-rod": "lateral"}


def _rod(adjuster: BaseModel) -> str:
    return f"-{adjuster.rod}" if isinstance(adjuster, TieRod) and adjuster.rod != "single" else ""


def faults_of(adjusters: Sequence[AnyAdjuster], axles: Mapping[str, tuple[str, bool, float]]) -> Iterator[str]:
    """Yield in words what is wrong with ``adjusters``; ``axles`` maps a code to (id, steers, wheel_half_m)."""
    names: list[str] = []
    for adjuster in adjusters:
        if adjuster.axle not in axles:
            yield f"adjuster on an axle that is not there: {adjuster.axle}"
            continue
        axle_id, steers, wheel_half_m = axles[adjuster.axle]
        if isinstance(adjuster, TieRod | DragLink) and not steers:
            yield f"a {adjuster.kind} on {adjuster.axle}, which does not steer"
        if isinstance(adjuster, AxleShift) and not _LEAST_RATIO <= adjuster.mount_half_m / wheel_half_m < 1.0:
            yield (
                f"the mounts of {adjuster.axle} stand {2 * adjuster.mount_half_m:g} m apart with wheel centres"
                f" {2 * wheel_half_m:g} m apart: mount_half_m lies between a fifth of wheel_half_m and the whole"
            )
        names.append(name_of(adjuster, axle_id))
    if twice := sorted({name for name in names if names.count(name) > 1}):
        yield f"two adjusters are called {', '.join(twice)}: give each an id of its own"
    yield from _two_rod_faults([adjuster for adjuster in adjusters if isinstance(adjuster, TieRod)])


def _two_rod_faults(rods: Sequence[TieRod]) -> Iterator[str]:
    for code in sorted({rod.axle for rod in rods}):
        kinds = sorted(rod.rod for rod in rods if rod.axle == code)
        if "single" in kinds and len(kinds) > 1:
            yield f"{code} has a single tie rod and another one: a two-rod linkage has a left and a right rod"
