"""What is offered instead of a blocked shot. The layouts' solids are invented; which lines own tyres block is common
practice, no source."""

from __future__ import annotations

import pytest

from axledger.job.instead import instead_of, is_own_tyre
from axledger.job.layout import Unit
from axledger.job.library import load_layout
from axledger.job.sight_lines import clear_of


def unit_of(name: str) -> Unit:
    return load_layout(name).unit[0]


def cure(name: str, start: str, end: str) -> str:
    unit = unit_of(name)
    found = clear_of(unit, start, end)
    assert found
    return instead_of(unit, start, end, found)


@pytest.mark.parametrize(
    ("name", "start", "end", "words"),
    [
        ("tractor-4x2", "S1Lh", "D1Rh", "S1Lr>D1Ri"),  # a hub diagonal: the rear end to the opposite inboard target
        ("tractor-4x2", "S1Rh", "D1Lh", "S1Rr>D1Li"),
        ("tractor-4x2", "S1Lf", "D1Ri", "S1Lr>D1Ri"),  # the front end sees nothing behind its own wheel
        ("tractor-4x2", "S1Lr", "D1Rh", "S1Lr>D1Ri"),  # the duals hide the opposite hub
        ("tractor-4x2", "D1Lh", "D1Rh", "D1Li>D1Ri"),  # across an axle
        ("semitrailer-2axle", "T1Lh", "T2Rh", "T1Li>T2Ri"),
        ("semitrailer-2axle", "K", "T2Lh", "K>T2L"),  # the first tyre hides the second hub from the pin
        ("rigid-8x4", "F0L", "D1Lh", "S2Lr>D1Lh"),  # the second steer tyre is in the way: from behind it
    ],
)
def test_the_shot_that_serves_instead_is_named_and_is_clear(name: str, start: str, end: str, words: str) -> None:
    told = cure(name, start, end)
    assert words in told, told
    for shot in told.split("shoot ")[1].split(" instead")[0].split(" or "):
        assert clear_of(unit_of(name), *shot.split(">")) == ()


def test_a_target_between_is_folded() -> None:
    assert cure("semitrailer-3axle", "T1Lh", "T3Lh") == 'have them out of the way: fold = ["T2Lh"]'


def test_arms_are_told_how_much_longer_they_must_be() -> None:
    unit = unit_of("dolly")
    mounts = tuple(
        mount.model_copy(update={"half_span_m": 1.332}) if mount.kind.value == "hub" else mount for mount in unit.mount
    )
    short = unit.model_copy(update={"mount": mounts})
    told = instead_of(short, "K", "T1Lh", clear_of(short, "K", "T1Lh"))
    # own study of generic solids: 180 mm past the tyre near the floor, 280 mm at 230 mm height, so between them here
    longer = int(told.split("arms ")[1].split(" mm longer")[0])
    assert 60 <= longer <= 160
    assert "half_span_m = " in told


def test_a_target_hung_too_high_is_told_where_the_line_is_clear() -> None:
    unit = unit_of("tractor-4x2")
    high = tuple(
        mount.model_copy(update={"height_m": 0.400}) if mount.axle or mount.code == "F2" else mount
        for mount in unit.mount
    )
    raised = unit.model_copy(update={"mount": high})
    told = instead_of(raised, "S1Lr", "D1Ri", clear_of(raised, "S1Lr", "D1Ri"))
    assert told.startswith("hang both targets 150 mm above the floor")


def test_where_nothing_is_clear_the_shot_is_to_be_taken_out() -> None:
    unit = unit_of("semitrailer-1axle")
    wall = unit.solid[0].model_copy(update={"name": "a wall of tyre", "x_m": -4.0, "radius_m": 3.0, "y_m": (-3.0, 3.0)})
    shut = unit.model_copy(update={"solid": (*unit.solid, wall)})
    assert instead_of(shut, "K", "T1Lh", ("a wall of tyre",)) == "take the shot out; nothing near it is clear"


def test_an_own_tyre_is_one_of_the_axles_at_the_ends() -> None:
    unit = unit_of("semitrailer-2axle")
    assert is_own_tyre(unit, "left tyre 1", "T1Lh", "T2Ri")
    assert not is_own_tyre(unit, "left tyre 1", "K", "T2Lh")
    assert not is_own_tyre(unit, "left landing leg", "K", "T1Lh")
