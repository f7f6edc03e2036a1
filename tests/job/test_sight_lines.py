"""Sight lines of the shipped layouts.

Expected heights are computed by hand from the layout's own solids: the underside of what blocks, less the 15 mm
a beam needs. Which lines are free and which are not is common practice, no source, modelled with invented solids.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from axledger.geometry.sight import blockers
from axledger.job.layout import Unit, stations_of
from axledger.job.library import layout_names, load_layout
from axledger.job.sight_lines import SightLines, clear_of, solids_of, target_solids

POWERED = ("tractor-4x2", "tractor-6x4", "rigid-4x2", "rigid-6x4", "rigid-6x2-tag")
TRAILERS = ("semitrailer-2axle", "semitrailer-2axle-spread", "semitrailer-3axle")


def unit_of(name: str) -> Unit:
    return load_layout(name).unit[0]


def at_height(unit: Unit, start: str, end: str, z_m: float) -> tuple[str, ...]:
    """What the unit's own solids put in the way with both stations at ``z_m``, in either direction."""
    places = {station.name: station.place_m for station in stations_of(unit)}
    first, second = ((*places[name][:2], z_m) for name in (start, end))
    there, back = (blockers(*pair, solids_of(unit)) for pair in ((first, second), (second, first)))
    assert there == back
    return there


def units() -> Iterator[Unit]:
    """Yield every unit shipped, once: a combination only repeats units."""
    done: list[Unit] = []
    for name in layout_names():
        for unit in load_layout(name).unit:
            if unit not in done:
                done.append(unit)
                yield unit


def walked() -> Iterator[tuple[Unit, SightLines, str, str, tuple[str, ...]]]:
    for unit in units():
        lines = SightLines(unit)
        for stand in unit.stand:
            for pair in stand.shots:
                yield unit, lines, pair.start or stand.at, pair.to, pair.fold


def test_every_shot_of_every_shipped_layout_is_clear_spare_ones_too() -> None:
    blocked = [
        (unit.name, f"{start}>{end}", found)
        for unit, lines, start, end, fold in walked()
        if (found := lines.in_the_way(start, end, fold)) or lines.in_the_way(end, start, fold)
    ]
    assert blocked == []


def test_every_fold_of_a_walk_is_needed() -> None:
    """A rail target hangs where it can: somewhere within twice its stated freedom it has to stand in the way."""
    for unit, _, start, end, fold in walked():
        if fold:
            found = {name for moved in hung_elsewhere(unit) for name in clear_of(moved, start, end)}
            assert {f"target {name}" for name in fold} <= found, (start, end)


def hung_elsewhere(unit: Unit) -> Iterator[Unit]:
    for share in (0, -1, 1, -2, 2):
        mounts = tuple(
            mount.model_copy(update={"x_m": mount.x_m + share * mount.stated.along / 1000})
            if mount.x_m is not None
            else mount
            for mount in unit.mount
        )
        yield unit.model_copy(update={"mount": mounts})


@pytest.mark.parametrize("name", POWERED)
@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("S1Lh", "D1Rh"),  # outboard hub diagonals: own tyres
        ("S1Rh", "D1Lh"),
        ("S1Lf", "D1Ri"),  # front end to anything behind its own wheel
        ("S1Lf", "F2L"),
        ("S1Rf", "F2R"),
        ("S1Rf", "F2L"),
        ("S1Lr", "D1Li"),  # rear end to the inboard target of its own side: inner tyre
        ("S1Rr", "D1Ri"),
        ("S1Lr", "D1Rh"),  # rear end to the opposite hub: duals
        ("D1Lh", "D1Rh"),  # across a drive axle
    ],
)
def test_lines_through_a_tyre_are_blocked_at_every_height(name: str, start: str, end: str) -> None:
    unit = unit_of(name)
    for centimetres in range(4, 70, 3):
        assert any("tyre" in found for found in at_height(unit, start, end, centimetres / 100))
    assert any("tyre" in found for found in clear_of(unit, start, end))


@pytest.mark.parametrize(
    ("name", "start", "end"),
    [
        ("tractor-6x4", "D1Lh", "D2Rh"),
        ("rigid-6x4", "D1Rh", "D2Lh"),
        ("tractor-6x4", "F0L", "D2Lh"),
        ("semitrailer-2axle", "T1Lh", "T1Rh"),
        ("semitrailer-2axle", "T1Lh", "T2Rh"),
        ("semitrailer-2axle", "T1Lh", "T2Ri"),
        ("semitrailer-2axle", "K", "T2Lh"),
        ("semitrailer-3axle", "K", "T2Rh"),
        ("semitrailer-3axle", "K", "T3Lh"),
        ("semitrailer-3axle", "T2Lh", "T3Rh"),
        ("semitrailer-1axle", "T1Lh", "T1Rh"),
        ("semitrailer-2axle-spread", "K", "T2Lh"),
        ("dolly", "K", "T2Lh"),
        ("centre-axle-trailer", "K", "T2Rh"),
        ("rigid-8x4", "F0L", "D1Lh"),  # the second steer tyre
        ("rigid-6x2-pusher", "F0L", "D1Lh"),  # the pusher's tyre
        ("rigid-6x2-tag", "D1Lh", "C1Rh"),
        ("semitrailer-3axle-steered", "K", "T3Lf"),
    ],
)
def test_tandem_and_trailer_lines_through_a_tyre_are_blocked(name: str, start: str, end: str) -> None:
    unit = unit_of(name)
    assert any("tyre" in found for found in clear_of(unit, start, end))
    assert any("tyre" in found for found in clear_of(unit, end, start))
    assert at_height(unit, start, end, 0.490)


HIGHEST_CLEAR = [
    # name, line, highest clear height in mm (10 mm steps), what is above it
    ("tractor-4x2", "S1Lf", "S1Rf", 380, "left front spring"),
    ("tractor-4x2", "S1Lr", "S1Rr", 350, "engine sump"),
    ("tractor-4x2", "S1Lh", "D1Lh", 690, "cab and body"),
    ("tractor-4x2", "S1Lr", "D1Ri", 270, "left tank"),
    ("tractor-4x2", "S1Rr", "D1Li", 290, "right tank"),  # the sides are no mirror images
    ("tractor-4x2", "S1Lr", "F2L", 270, "left tank"),
    ("tractor-4x2", "S1Rr", "F2R", 290, "right tank"),
    ("tractor-4x2", "F0L", "S1Lf", 310, "left step"),
    ("tractor-4x2", "F0L", "S1Rf", 310, "right step"),
    ("tractor-4x2", "F0L", "D1Lh", 240, "steer beam"),
    ("tractor-4x2", "F0R", "D1Li", 240, "steer beam"),
    ("tractor-4x2", "F0L", "F2R", 240, "steer beam"),
    ("tractor-4x2", "D1Li", "D1Ri", 250, "differential"),
    ("tractor-6x4", "S1Lr", "D2Ri", 250, "differential 1"),
    ("tractor-6x4", "D1Li", "D2Ri", 390, "drive axle tube 1"),
    ("rigid-6x4", "S1Lr", "D2Ri", 250, "differential 1"),
    ("rigid-6x4", "F0L", "D2Ri", 240, "steer beam"),
    ("semitrailer-1axle", "K", "T1Lh", 410, "left pallet box"),
    ("semitrailer-1axle", "K", "T1Rh", 540, "right spare wheel"),
    ("semitrailer-2axle", "K", "T1Lh", 410, "left pallet box"),
    ("semitrailer-2axle", "K", "T2Li", 310, "left hanger 1"),
    ("semitrailer-3axle", "K", "T3Ri", 310, "right hanger 3"),
    ("semitrailer-3axle", "T1Li", "T1Ri", 320, "left trailing arm 1"),
    ("semitrailer-3axle", "T1Li", "T2Ri", 320, "left trailing arm 1"),
    ("rigid-4x2", "S1Lr", "D1Ri", 270, "left tank"),
    ("rigid-6x2-tag", "S1Lr", "C1Ri", 250, "differential"),
    ("rigid-6x2-pusher", "F0L", "C1Lh", 240, "steer beam"),
    ("rigid-8x4", "S1Lr", "S2Rf", 250, "left mud flap 1"),
    ("rigid-8x4", "F0L", "F1R", 240, "steer beam 1"),
    ("rigid-8x4", "S2Lr", "D2Ri", 250, "differential 1"),
    ("semitrailer-2axle-spread", "K", "T2Ri", 310, "right hanger 2"),
    ("semitrailer-3axle-steered", "T3Lf", "T2Ri", 320, "right trailing arm 2"),
]


@pytest.mark.parametrize(("name", "start", "end", "highest_mm", "above"), HIGHEST_CLEAR)
def test_a_line_is_clear_from_near_the_floor_up_to_what_hangs_lowest(
    name: str, start: str, end: str, highest_mm: int, above: str
) -> None:
    unit = unit_of(name)
    for millimetres in range(40, highest_mm + 1, 10):
        assert at_height(unit, start, end, millimetres / 1000) == ()
    assert above in at_height(unit, start, end, (highest_mm + 10) / 1000)


@pytest.mark.parametrize(
    ("name", "start", "end"), [("tractor-6x4", "D2Lh", "S1Lh"), ("semitrailer-3axle", "T1Rh", "T3Rh")]
)
def test_a_target_between_two_others_is_in_the_way_until_folded(name: str, start: str, end: str) -> None:
    unit = unit_of(name)
    between = {"D2Lh": "D1Lh", "T1Rh": "T2Rh"}[start]
    assert clear_of(unit, start, end) == (f"target {between}",)
    assert clear_of(unit, end, start) == (f"target {between}",)
    assert clear_of(unit, start, end, (between,)) == ()


@pytest.mark.parametrize("name", TRAILERS)
def test_an_arm_of_ordinary_length_is_needed_from_the_pin(name: str) -> None:
    unit = unit_of(name)
    hubs = [m.model_copy(update={"half_span_m": 1.232}) if m.kind.value == "hub" else m for m in unit.mount]
    stubby = unit.model_copy(update={"mount": tuple(hubs)})
    # 20 mm past the tyre's face is less than the tyre's own depth asks for on the slanting line
    assert clear_of(stubby, "K", "T1Lh") == ("left tyre 1",)
    assert clear_of(unit, "K", "T1Lh") == ()


def millimetres(extent: tuple[float, float]) -> tuple[int, int]:
    return round(extent[0] * 1000), round(extent[1] * 1000)


def test_a_hub_target_has_an_arm_from_the_tyre_and_an_inboard_one_hangs() -> None:
    boxes = target_solids(unit_of("tractor-4x2"))
    plate, arm, drop = boxes["D1Lh"]
    assert millimetres(plate.y_m) == (1323, 1383)
    assert millimetres(arm.y_m) == (1233, 1353)  # outer tyre's face to the station
    assert millimetres(arm.z_m) == (480, 500)  # at wheel height
    assert millimetres(drop.z_m) == (150, 490)
    mirrored = boxes["D1Rh"][1]
    assert millimetres(mirrored.y_m) == (-1353, -1233)
    _, cord = boxes["D1Li"]
    assert millimetres(cord.z_m) == (150, 405)  # up to the axle tube
    assert {box.name for box in boxes["S1L"]} == {"target S1L"}
    assert "G" not in boxes


def test_a_wheel_without_a_drawn_tyre_has_a_plate_only() -> None:
    bare = unit_of("semitrailer-1axle").model_copy(update={"solid": ()})
    assert len(target_solids(bare)["T1Lh"]) == 1
    assert solids_of(bare) == []


def test_a_station_that_is_not_there_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        clear_of(unit_of("tractor-4x2"), "F0L", "T1Lh")
