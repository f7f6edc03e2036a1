"""The words for inclinations: who reads them, at which position, and what a layout may not ask for."""

from __future__ import annotations

from typing import get_args

import pytest

from axledger.contract.errors import BadFile
from axledger.job.layout import parse_layout
from axledger.job.library import load_layout
from axledger.job.settings import MountKind
from axledger.job.tilts import (
    FLOOR_TILTS,
    FRAME_TILT,
    LEAST_TURN_RAD,
    SWEEP_TILTS,
    WHEEL_TILTS,
    TiltName,
    misplaced,
    position_of,
    role_of_tilt,
    steered_to,
    sweep_fault,
)

WHOLE = ("plate-out", "face-out", "level-out"), ("plate-in", "face-in", "level-in")


def test_all_names_are_of_one_kind() -> None:
    assert set(get_args(TiltName)) == FLOOR_TILTS | WHEEL_TILTS | {FRAME_TILT}
    assert set(SWEEP_TILTS) < WHEEL_TILTS


def test_a_plate_is_no_inclinometer() -> None:
    assert {tilt for tilt in get_args(TiltName) if role_of_tilt(tilt) == "plate"} == {"plate-out", "plate-in"}


def test_out_at_one_wheel_is_in_at_the_other() -> None:
    assert [position_of(tilt) for tilt in ("face", "face-rolled", "level-out", "plate-in")] == ["", "", "out", "in"]
    assert steered_to("face-out", 1) == steered_to("plate-in", -1) == 1
    assert steered_to("face-out", -1) == steered_to("plate-in", 1) == -1
    assert steered_to("face", 1) == 0
    assert 0.139 < LEAST_TURN_RAD < 0.140  # 8 degrees


@pytest.mark.parametrize(
    ("tilt", "kind", "wheel", "steers", "words"),
    [
        ("along", MountKind.FLOOR, False, False, ""),
        ("along", MountKind.HUB, True, False, "floor mount"),
        ("frame", MountKind.RAIL, False, False, ""),
        ("frame", MountKind.FLOOR, False, False, "rail mount"),
        ("face", MountKind.HUB, True, False, ""),
        ("face", MountKind.RAIL, False, False, "at a wheel"),
        ("face-out", MountKind.STRAIGHTEDGE, True, True, ""),
        ("face-out", MountKind.HUB, True, False, "wheel that steers"),
    ],
)
def test_where_a_tilt_is_taken(tilt: str, kind: MountKind, wheel: bool, steers: bool, words: str) -> None:
    fault = misplaced(tilt, kind, wheel=wheel, steers=steers)
    assert words in fault
    assert bool(fault) == bool(words)


def stops(*tilts: tuple[str, int, tuple[str, ...]]) -> list[tuple[str, int, str]]:
    return [(station, side, tilt) for station, side, names in tilts for tilt in names]


def test_a_sweep_takes_both_positions_and_both_angles_one_side_after_the_other() -> None:
    out, inward = WHOLE
    good = stops(("S1Lh", 1, out), ("S1Rh", -1, inward), ("S1Rh", -1, out), ("S1Lh", 1, inward))
    assert sweep_fault(good) == ""
    lacking = [stop for stop in good if stop != ("S1Lh", 1, "plate-in")]
    assert "the sweep at S1Lh lacks plate-in" in sweep_fault(lacking)
    mixed = stops(("S1Lh", 1, out), ("S1Lh", 1, inward), ("S1Rh", -1, inward), ("S1Rh", -1, out))
    assert "back and forth" in sweep_fault(mixed)


@pytest.mark.parametrize(
    ("shipped", "wrong", "words"),
    [
        ('tilts = ["plate-out", "face-out", "level-out"]', 'tilts = ["face-out", "level-out"]', "lacks plate-out"),
        ('at = "F0L"\npart = "sweep"', 'at = "D1Li"\npart = "sweep"', "rail mount"),
        ('at = "D1Lh"\npart = "camber"', 'at = "D1Li"\npart = "camber"', "at a wheel"),
    ],
)
def test_a_layout_that_asks_for_the_impossible_is_refused(shipped: str, wrong: str, words: str) -> None:
    from importlib.resources import files

    text = (files("axledger.job") / "layouts" / "tractor-4x2.toml").read_text(encoding="utf-8")
    assert shipped in text
    assert load_layout("tractor-4x2").unit
    with pytest.raises(BadFile, match=words):
        parse_layout(text.replace(shipped, wrong, 1), path="mine.toml")
