from __future__ import annotations

from pathlib import Path

import pytest

from axledger.contract.errors import BadFile, UnknownName
from axledger.job.layout import Layout, stations_of
from axledger.job.library import layout_names, limit_sheet_names, load_layout, load_limit_sheet
from axledger.job.plan import Chosen, plan_shots

PROCEDURES = {
    # distances of the short, default and thorough walk, counted by hand from the plan each layout follows
    "centre-axle-trailer": (8, 18, 22),
    "dolly": (8, 18, 22),
    "drawbar-trailer": (8, 8, 12),
    "rigid-4x2": (16, 30, 48),
    "rigid-4x2-centre-axle-trailer": (24, 48, 70),
    "rigid-6x2-pusher": (20, 42, 54),
    "rigid-6x2-tag": (20, 42, 54),
    "rigid-6x2-tag-drawbar-trailer": (28, 50, 66),
    "rigid-6x4": (20, 40, 54),
    "rigid-8x4": (34, 56, 60),
    "semitrailer-1axle": (4, 4, 6),
    "semitrailer-2axle": (8, 18, 22),
    "semitrailer-2axle-spread": (8, 18, 22),
    "semitrailer-3axle": (16, 27, 35),
    "semitrailer-3axle-steered": (18, 35, 43),
    "tractor-4x2": (16, 30, 48),
    "tractor-4x2-semitrailer-3axle": (32, 57, 83),
    "tractor-6x4": (20, 40, 54),
    "tractor-6x4-semitrailer-2axle": (28, 58, 76),
    "tractor-6x4-semitrailer-3axle": (36, 67, 89),
}
SHOTS = {name: counts[1] for name, counts in PROCEDURES.items()}
SMALL = """\
schema = 1
name = "{name}"
title = "Small"
source = "invented"

[[unit]]
id = "{unit}"
name = "small"
kind = "towed"
reference = "coupling"
mount = [
  {{ kind = "pin", code = "{pin}", x_m = 0 }},
  {{ kind = "hub", axle = "{axle}", half_span_m = 1.3 }},
]
stand = [{{ at = "{pin}", shots = [{{ to = "{axle}Lh" }}, {{ to = "{axle}Rh" }}] }}]

[[unit.axle]]
code = "{axle}"
id = "axle1"
name = "axle"
kind = "carrying"
x_m = -6
group = "rear"
wheel_half_m = 1
"""
COMBINATION = """\
schema = 1
name = "train"
title = "Train"
source = "invented"
combine = [{names}]
"""


def small(folder: Path, name: str, *, unit: str = "cart", axle: str = "C1", pin: str = "KC") -> Path:
    file = folder / f"{name}.toml"
    file.write_text(SMALL.format(name=name, unit=unit, axle=axle, pin=pin), encoding="utf-8")
    return file


def train(folder: Path, *names: str) -> Path:
    file = folder / "train.toml"
    file.write_text(COMBINATION.format(names=", ".join(f'"{name}"' for name in names)), encoding="utf-8")
    return file


def test_the_shipped_layouts_are_these() -> None:
    assert layout_names() == tuple(sorted(SHOTS))


@pytest.mark.parametrize(("name", "count"), SHOTS.items())
def test_a_shipped_layout_has_the_shots_of_its_plan(name: str, count: int) -> None:
    layout = load_layout(name)
    assert layout.name == name
    shots = plan_shots(layout)
    assert sum(shot.kind == "distance" for shot in shots) == count
    assert sum(shot.kind == "tilt" for shot in shots) == 4 * len(layout.unit)
    # inclinations come first in every unit
    for unit in layout.unit:
        assert [shot.kind for shot in shots if shot.unit == unit.id][:5] == ["tilt"] * 4 + ["distance"]


@pytest.mark.parametrize(("name", "counts"), PROCEDURES.items())
def test_a_shipped_layout_has_a_short_and_a_thorough_walk(name: str, counts: tuple[int, int, int]) -> None:
    layout = load_layout(name)
    short, default, thorough = (
        [shot for shot in plan_shots(layout, chosen=Chosen(procedure=procedure)) if shot.kind == "distance"]
        for procedure in ("short", "default", "thorough")
    )
    assert (len(short), len(default), len(thorough)) == counts
    # what is taken in the default walk is taken in the thorough one too
    assert {shot.id for shot in default} <= {shot.id for shot in thorough}


@pytest.mark.parametrize("name", SHOTS)
def test_every_shipped_station_that_is_shot_stands_at_the_crossing_height(name: str) -> None:
    for unit in load_layout(name).unit:
        heights = {station.place_m[2] for station in stations_of(unit) if station.mount.kind.value != "floor"}
        assert heights == {0.150}


@pytest.mark.parametrize("name", SHOTS)
def test_every_hub_target_is_seen_before_and_after_its_half_turn(name: str) -> None:
    layout = load_layout(name)
    states: dict[str, set[int]] = {}
    for shot in plan_shots(layout):
        for target, turns in zip(shot.targets, shot.turns, strict=True):
            states.setdefault(target, set()).add(turns)
    hubs = {
        station.target for unit in layout.unit for station in stations_of(unit) if station.mount.kind.value == "hub"
    }
    assert hubs
    assert {name: states[name] for name in hubs} == {name: {0, 1} for name in hubs}


def test_a_shipped_layout_says_that_it_is_invented() -> None:
    for name in layout_names():
        layout = load_layout(name)
        assert "invented" in layout.source
        assert "example" in layout.title


def test_a_combination_is_resolved_into_its_units() -> None:
    both = load_layout("tractor-6x4-semitrailer-2axle")
    assert both.combine == ()
    assert both.unit == load_layout("tractor-6x4").unit + load_layout("semitrailer-2axle").unit
    # what is resolved can be written down and read again as it stands
    assert Layout.model_validate(both.model_dump(mode="json", by_alias=True)) == both


def test_own_layouts_are_found_by_name_and_by_file(tmp_path: Path) -> None:
    file = small(tmp_path, "cart")
    assert layout_names(tmp_path) == tuple(sorted([*SHOTS, "cart"]))
    assert load_layout("cart", tmp_path) == load_layout(file) == load_layout(str(file))


def test_an_own_layout_wins_over_a_shipped_one_of_its_name(tmp_path: Path) -> None:
    small(tmp_path, "tractor-4x2")
    assert load_layout("tractor-4x2", tmp_path).title == "Small"
    assert layout_names(tmp_path) == tuple(sorted(SHOTS))


def test_a_combination_finds_layouts_beside_its_file_and_shipped_ones(tmp_path: Path) -> None:
    small(tmp_path, "cart")
    file = train(tmp_path, "tractor-4x2", "cart")
    assert [unit.id for unit in load_layout(file).unit] == ["tractor", "cart"]
    assert load_layout("train", tmp_path) == load_layout(file)


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(UnknownName) as caught:
        load_layout("tractor-8x8")
    assert caught.value.known == tuple(sorted(SHOTS))
    with pytest.raises(UnknownName) as caught:
        load_limit_sheet("nowhere")
    assert caught.value.known == limit_sheet_names()


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("cart", "nowhere"), "no layout is called 'nowhere'"),
        (("cart", "other"), "two units share the id cart"),
        (("cart", "third"), "station made twice: C1Lh, C1Rh"),
        (("cart", "train"), "train is itself a combination"),
    ],
)
def test_a_combination_that_cannot_be_joined_names_its_line(tmp_path: Path, names: tuple[str, ...], words: str) -> None:
    small(tmp_path, "cart")
    small(tmp_path, "other", axle="C2", pin="KD")
    small(tmp_path, "third", unit="third", pin="KD")
    with pytest.raises(BadFile) as caught:
        load_layout(train(tmp_path, *names))
    assert caught.value.faults == ((5, words),)


def test_a_file_that_cannot_be_read_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(BadFile, match=r"absent\.toml"):
        load_layout(tmp_path / "absent.toml")
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'title = "caf\xe9"')
    with pytest.raises(BadFile) as caught:
        load_limit_sheet(latin)
    assert "UTF-8" in caught.value.found


def test_the_shipped_limit_sheets_are_examples(tmp_path: Path) -> None:
    assert limit_sheet_names() == ("example-fleet", "example-tractor", "example-trailer")
    for name in limit_sheet_names():
        sheet = load_limit_sheet(name)
        assert sheet.name == name
        assert sheet.example
        assert "xample" in sheet.title
    assert limit_sheet_names(tmp_path / "absent") == limit_sheet_names()
