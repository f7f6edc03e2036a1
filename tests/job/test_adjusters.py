"""Adjusters as data: what a layout may declare, and what is refused in words of the trade."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from axledger.contract.errors import BadFile
from axledger.job.adjusters import Adjuster, AnyAdjuster, AxleShift, TieRod, faults_of, name_of
from axledger.job.layout import parse_layout
from axledger.job.library import layout_names, load_layout

AXLES = {"S1": ("steer", True, 1.04), "D1": ("drive", False, 0.915)}
TIE = {"kind": "tie-rod", "axle": "S1", "mm_per_turn": 3.0, "arm_mm": 190.0, "range_turns": [-6, 6], "longer": "toe-in"}
SHIFT = {"kind": "axle-shift", "axle": "D1", "mount_half_m": 0.4, "range_mm": [-8, 8]}
DRAG = {**TIE, "kind": "drag-link", "longer": "left"}
LATERAL = {"kind": "lateral-rod", "axle": "D1", "range_mm": [-10, 10]}


def made(data: dict[str, Any], **changed: object) -> AnyAdjuster:
    return TypeAdapter[AnyAdjuster](Adjuster).validate_python({**data, **changed})


def test_what_is_not_said_is_as_usual() -> None:
    shift, tie = made(SHIFT), made(TIE)
    assert isinstance(shift, AxleShift)
    assert (shift.at, shift.ends, shift.pivot, shift.step_mm) == ("spring mount", ("left", "right"), "other end", 0.0)
    assert isinstance(tie, TieRod)
    assert tie.wheel == "right"
    assert made(TIE, rod="left").wheel == "left"  # type: ignore[union-attr]
    assert made(SHIFT, side="left").ends == ("left",)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("data", "changed", "words"),
    [
        (TIE, {"range_turns": [1, 6]}, "does not hold 0"),
        (TIE, {"range_turns": [0, 0]}, "is empty"),
        (TIE, {"range_turns": [-40, 40]}, "more than 30 degrees"),
        (TIE, {"mm_per_turn": 0}, "greater than or equal"),
        (TIE, {"arm_mm": 20}, "greater than or equal"),
        (TIE, {"longer": "left"}, "toe-in"),
        (SHIFT, {"range_mm": [2, -2]}, "does not hold 0"),
        (SHIFT, {"range_mm": [-300, 300]}, "no adjuster does"),
        (SHIFT, {"step_mm": 9}, "not one step"),
        (SHIFT, {"at": "somewhere"}, "spring mount"),
        (LATERAL, {"range_mm": [0, 0]}, "is empty"),
        (LATERAL, {"torque_nm": 400}, "Extra inputs"),
    ],
)
def test_what_cannot_be_is_refused(data: dict[str, Any], changed: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        made(data, **changed)


def test_names_follow_from_axle_and_kind_or_are_given() -> None:
    assert name_of(made(SHIFT), "drive") == "drive-shift"
    assert name_of(made(TIE, rod="left"), "steer") == "steer-tie-rod-left"
    assert name_of(made(SHIFT, id="hanger"), "drive") == "hanger"


@pytest.mark.parametrize(
    ("adjusters", "words"),
    [
        ([made(SHIFT, axle="D9")], "not there: D9"),
        ([made(TIE, axle="D1")], "tie-rod on D1, which does not steer"),
        ([made(DRAG, axle="D1")], "drag-link on D1, which does not steer"),
        ([made(SHIFT, mount_half_m=0.95)], "mounts of D1 stand 1.9 m apart"),
        ([made(SHIFT, mount_half_m=0.15)], "between a fifth of wheel_half_m"),
        ([made(SHIFT), made(SHIFT)], "two adjusters are called drive-shift"),
        ([made(TIE), made(TIE, rod="left")], "a left and a right rod"),
    ],
)
def test_what_does_not_fit_the_vehicle_is_said(adjusters: Sequence[AnyAdjuster], words: str) -> None:
    assert any(words in fault for fault in faults_of(adjusters, AXLES))


def test_what_fits_has_no_fault() -> None:
    assert list(faults_of([made(TIE, rod="left"), made(TIE, rod="right"), made(DRAG), made(SHIFT)], AXLES)) == []


def test_a_layout_with_a_strange_adjuster_is_refused_with_its_line() -> None:
    text = """schema = 1
name = "test-short"
title = "Short trailer"
source = "invented for tests"
[[unit]]
id = "trailer"
name = "trailer"
kind = "towed"
reference = "coupling"
axle = [{ code = "T1", id = "axle1", name = "axle", kind = "carrying", x_m = -8.0, group = "rear", wheel_half_m = 1.0 }]
mount = [{ kind = "pin", code = "K", x_m = 0.0 }, { kind = "hub", axle = "T1", half_span_m = 1.3 }]
stand = [{ at = "K", shots = [{ to = "T1Lh" }, { to = "T1Rh" }] }]
[[unit.adjuster]]
kind = "axle-shift"
axle = "T1"
mount_half_m = 0.4
range_mm = [3.0, 8.0]
"""
    with pytest.raises(BadFile, match="does not hold 0"):
        parse_layout(text, path="short.toml")
    assert parse_layout(text.replace("[3.0", "[-3.0"), path="short.toml").unit[0].adjuster[0].axle == "T1"


@pytest.mark.parametrize("name", layout_names())
def test_shipped_layouts_declare_what_can_be_moved(name: str) -> None:
    assert all(unit.adjuster for unit in load_layout(name).unit)
