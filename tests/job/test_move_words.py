"""Moves as a technician reads them."""

from __future__ import annotations

import pytest

from axledger.geometry.moves import Control
from axledger.job.adjusters import AnyAdjuster, AxleShift, DragLink, LateralRod, TieRod
from axledger.job.controls import Handle
from axledger.job.library import load_layout
from axledger.job.move_words import CAUTIONS, way_of, words_of

SHIFT = AxleShift(kind="axle-shift", axle="D1", mount_half_m=0.4, range_mm=(-12.0, 12.0))
LATERAL = LateralRod(kind="lateral-rod", axle="D1", range_mm=(-10.0, 10.0))
TIE = TieRod(kind="tie-rod", axle="S1", mm_per_turn=3.0, arm_mm=190.0, range_turns=(-5.0, 5.0), longer="toe-in")
DRAG = DragLink(kind="drag-link", axle="S1", mm_per_turn=3.0, arm_mm=220.0, range_turns=(-5.0, 5.0), longer="left")


def handle(adjuster: AnyAdjuster, end: str = "", **changed: object) -> Handle:
    unit = load_layout("tractor-6x4").unit[0]
    axle = next(axle for axle in unit.axle if axle.code == adjuster.axle)
    control = Control(name="c", effects=(), low_m=-0.1, high_m=0.1, step_m=1e-4, sd_m=0.0)
    changed_adjuster = adjuster.model_copy(update=changed)
    return Handle(name="n", end=end, unit=unit, axle=axle, adjuster=changed_adjuster, control=control)


@pytest.mark.parametrize(
    ("one", "amount_mm", "words"),
    [
        (
            handle(SHIFT, "left"),
            3.4,
            "move the left end of drive axle 1 forward 3.4 mm at the spring mount (the right end stays)",
        ),
        (
            handle(SHIFT, "right", pivot="centre", at="slide"),
            -2.0,
            "move the right end of drive axle 1 rearward 2.0 mm at the slide (about the axle's centre)",
        ),
        (
            handle(SHIFT, "left", at="shim pack", step_mm=1.5, longer="forward"),
            3.0,
            "move the left end of drive axle 1 forward 3.0 mm at the shim pack"
            " (add 2 shims of 1.5 mm; the right end stays)",
        ),
        (
            handle(SHIFT, "left", at="shim pack", step_mm=1.5, longer="forward"),
            -1.5,
            "move the left end of drive axle 1 rearward 1.5 mm at the shim pack"
            " (take out 1 shim of 1.5 mm; the right end stays)",
        ),
        (
            handle(SHIFT, "left", at="torque rod", mm_per_turn=2.0, longer="rearward"),
            3.0,
            "move the left end of drive axle 1 forward 3.0 mm at the torque rod"
            " (1.50 turns; rod shorter; the right end stays)",
        ),
        (
            handle(SHIFT, "left", step_mm=0.5),
            0.5,
            "move the left end of drive axle 1 forward 0.5 mm at the spring mount"
            " (1 step of 0.5 mm; the right end stays)",
        ),
        (handle(LATERAL), -6.0, "move drive axle 1 to the right 6.0 mm at the lateral rod"),
        (
            handle(LATERAL, mm_per_turn=2.0, longer="left"),
            6.0,
            "move drive axle 1 to the left 6.0 mm at the lateral rod (3.00 turns; rod longer)",
        ),
        (
            handle(TIE),
            1.2,
            "make the tie rod of steer axle longer by 1.20 mm (0.40 of a turn; the right wheel toes in 0.36 deg)",
        ),
        (
            handle(TIE, rod="left"),
            -4.5,
            "make the left tie rod of steer axle shorter by 4.50 mm (1.50 turns; the left wheel toes out 1.36 deg)",
        ),
        (
            handle(DRAG),
            -0.9,
            "make the drag link of steer axle shorter by 0.90 mm (0.30 of a turn; both wheels turn 0.23 deg"
            " to the right)",
        ),
    ],
)
def test_words(one: Handle, amount_mm: float, words: str) -> None:
    assert words_of(one, amount_mm / 1000) == words


def test_ways() -> None:
    assert [way_of(handle(SHIFT, "left"), amount) for amount in (1e-3, -1e-3)] == ["forward", "rearward"]
    assert [way_of(handle(LATERAL), amount) for amount in (1e-3, -1e-3)] == ["left", "right"]
    assert [way_of(handle(TIE), amount) for amount in (1e-3, -1e-3)] == ["longer", "shorter"]


def test_no_torque_is_ever_named() -> None:
    assert any("maker's figure" in caution for caution in CAUTIONS)
    assert not any(word in caution for caution in CAUTIONS for word in ("Nm", "N m", "ft-lb"))
