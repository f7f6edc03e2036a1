"""Adjusters become controls: signs said in words, ranges shortened by what was moved."""

from __future__ import annotations

import numpy as np
import pytest

from axledger.geometry.moves import reached
from axledger.geometry.results import AxleGeometry, UnitGeometry, evaluate
from axledger.job.adjusters import AnyAdjuster, AxleShift, DragLink, LateralRod, TieRod
from axledger.job.board import MadeMove
from axledger.job.controls import Handle, handles_of
from axledger.job.layout import Unit
from axledger.job.library import load_layout

SHIFT = AxleShift(kind="axle-shift", axle="D1", mount_half_m=0.4, range_mm=(-8.0, 6.0), step_mm=1.5)
LATERAL = LateralRod(kind="lateral-rod", axle="D1", range_mm=(-10.0, 10.0))
TIE = TieRod(kind="tie-rod", axle="S1", mm_per_turn=3.0, arm_mm=200.0, range_turns=(-5.0, 5.0), longer="toe-in")
DRAG = DragLink(kind="drag-link", axle="S1", mm_per_turn=3.0, arm_mm=200.0, range_turns=(-5.0, 5.0), longer="left")


def unit_with(*adjusters: AnyAdjuster) -> Unit:
    return load_layout("tractor-4x2").unit[0].model_copy(update={"adjuster": adjusters})


def geometry() -> UnitGeometry:
    """Return the tractor's axles with a parameter for everything: x, y, yaw of each, then the two wheels."""
    axles = tuple(
        AxleGeometry(
            id=axle.id, name=axle.name, group=axle.group, driven=n == 1, x=3 * n, y=3 * n + 1, yaw=3 * n + 2,
            x_m=axle.x_m, wheel_half_m=axle.wheel_half_m, steer=(6, 7) if n == 0 else None,
        )
        for n, axle in enumerate(unit_with().axle)
    )  # fmt: skip
    return UnitGeometry(
        id="tractor", name="tractor", powered=True, reference="frame", pin_x_m=0.0, toe_diameter_m=1.0, axles=axles
    )  # fmt: skip


def handles(*adjusters: AnyAdjuster, made: tuple[MadeMove, ...] = ()) -> tuple[Handle, ...]:
    return handles_of(unit_with(*adjusters), geometry(), made)


def results(handle: Handle, amount_mm: float) -> dict[str, float]:
    x = reached(np.zeros(8), [handle.control], [amount_mm / 1000])
    return {one.key.removeprefix("tractor."): one.value.value for one in evaluate(geometry(), x)}


def test_the_left_end_forward_turns_the_axle_to_the_right() -> None:
    left, right = handles(SHIFT)
    assert (left.name, left.end, right.end) == ("tractor.drive-shift", "left", "right")
    assert results(left, 4.0)["drive.squareness"] == pytest.approx(-np.arctan(0.004 / 0.8))
    assert results(right, 4.0)["drive.squareness"] == pytest.approx(np.arctan(0.004 / 0.8))
    # the axle's middle comes forward by half: both wheelbases together shrink by the whole
    after, before = results(left, 4.0), results(left, 0.0)
    sides = [after[f"drive.wheelbase.{side}"] - before[f"drive.wheelbase.{side}"] for side in ("left", "right")]
    assert sum(sides) == pytest.approx(-0.004, abs=1e-6)


def test_about_the_centre_each_end_moves_half() -> None:
    (left,) = handles(SHIFT.model_copy(update={"pivot": "centre", "side": "left"}))
    # half the amount at one end does what the whole does with the other end held
    assert results(left, 2.0)["drive.squareness"] == pytest.approx(-np.arctan(0.004 / 0.8))
    assert results(left, 2.0)["drive.wheelbase.difference"] == pytest.approx(-2 * 0.915 * 0.005, rel=1e-4)


def test_a_lateral_rod_moves_the_axle_to_the_left() -> None:
    (rod,) = handles(LATERAL)
    assert results(rod, 5.0)["drive.offset"] == pytest.approx(0.005)
    assert results(rod, 5.0)["drive.squareness"] == 0.0


@pytest.mark.parametrize(("rod", "moves"), [("single", "left"), ("left", "right")])
def test_a_longer_rod_behind_the_axle_toes_the_left_wheel_in(rod: str, moves: str) -> None:
    (tie,) = handles(TIE.model_copy(update={"rod": rod, "moves": moves}))
    found = results(tie, 1.0)
    assert found["steer.toe.left"] == pytest.approx(np.arcsin(0.001 / 0.2))
    assert found["steer.toe.right"] == 0.0
    assert tie.steers


def test_a_longer_rod_ahead_of_the_axle_toes_out() -> None:
    (tie,) = handles(TIE.model_copy(update={"longer": "toe-out"}))
    assert results(tie, 1.0)["steer.toe.total"] == pytest.approx(-np.arcsin(0.001 / 0.2))


def test_a_drag_link_turns_both_wheels_and_leaves_total_toe() -> None:
    (drag,) = handles(DRAG)
    found = results(drag, 1.0)
    assert found["steer.steering"] == pytest.approx(np.arcsin(0.001 / 0.2))
    assert found["steer.toe.total"] == pytest.approx(0.0, abs=1e-15)


def test_what_was_moved_shortens_the_range() -> None:
    made = MadeMove(
        round=1, unit="tractor", axle="D1", adjuster="tractor.drive-shift", end="left", amount_m=0.004, steering=False
    )
    left, right = handles(SHIFT, made=(made,))
    assert (left.control.low_m, left.control.high_m) == pytest.approx((-0.012, 0.002))
    assert (right.control.low_m, right.control.high_m) == pytest.approx((-0.008, 0.006))


def test_steps_and_turns() -> None:
    (left, _), (tie,) = handles(SHIFT), handles(TIE)
    assert left.control.step_m == 0.0015
    assert tie.control.high_m == pytest.approx(0.015)
    assert tie.control.step_m == pytest.approx(0.02 * 0.003)
    (stepped,) = handles(TIE.model_copy(update={"step_turns": 0.5}))
    assert stepped.control.step_m == 0.0015
