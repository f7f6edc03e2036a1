from __future__ import annotations

from typing import Any

import pytest

from axledger.job.layout import stations_of
from axledger.job.library import layout_names, load_layout
from axledger.job.model import Sight, Tilt
from axledger.job.plan import Chosen, mirrored, plan_shots, sight_of, tilt_of
from axledger.job.proof import all_spares


@pytest.mark.parametrize("name", layout_names())
def test_names_are_unique_and_spares_wait_to_be_asked_for(name: str) -> None:
    layout = load_layout(name)
    plain, full = plan_shots(layout), plan_shots(layout, added=all_spares(layout))
    for shots in (plain, full):
        assert len({shot.id for shot in shots}) == len(shots)
    assert not any(shot.spare for shot in plain)
    assert [shot.id for shot in full if not shot.spare] == [shot.id for shot in plain]
    assert {shot.id for shot in full if shot.spare} <= all_spares(layout)


@pytest.mark.parametrize("name", layout_names())
def test_every_turn_is_between_two_looks_at_a_line_of_its_target(name: str) -> None:
    """Else the half turn would cost time and tell nothing."""
    shots = plan_shots(load_layout(name))
    for target in {target for shot in shots for target in shot.turn}:
        states = {
            frozenset((shot.start, shot.end)): {
                look.turns[look.targets.index(target)]
                for look in shots
                if frozenset((look.start, look.end)) == frozenset((shot.start, shot.end)) and target in look.targets
            }
            for shot in shots
            if target in shot.targets
        }
        assert {0, 1} in states.values(), target


def test_the_walk_counts_looks_and_turns() -> None:
    shots = {shot.id: shot for shot in plan_shots(load_layout("semitrailer-1axle"))}
    assert list(shots)[4:] == ["K>T1Lh", "K>T1Rh", "T1Lh>K", "T1Rh>K"]
    assert [shots[name].look for name in ("K>T1Lh", "T1Lh>K", "T1Rh>K")] == [1, 2, 2]
    assert shots["T1Lh>K"].turns == (1, 0)
    assert shots["K>T1Lh"].turns == (0, 0)
    assert shots["T1Lh>K"].turn == ("T1Lh",)
    assert (shots["GT:along"].kind, shots["GT:along"].tilt) == ("tilt", "along")


def test_a_blocked_shot_hands_its_turn_on(short_layout: Any) -> None:
    shots = {shot.id: shot for shot in plan_shots(short_layout, blocked={"T1Lh>K"})}
    assert "T1Lh>K" not in shots
    assert shots["T1Lh>T2Lh"].turn == ("T1Lh",)


def test_the_same_direction_shot_twice_has_two_names(short_layout: Any) -> None:
    (unit,) = short_layout.unit
    again = unit.model_copy(update={"stand": (*unit.stand, unit.stand[0])})
    names = [shot.id for shot in plan_shots(short_layout.model_copy(update={"unit": (again,)}))]
    assert names[:4] == ["K>T2Lh", "K>T1Lh", "K>T2Rh", "K>T1Rh"]
    assert names[-4:] == ["K>T2Lh#2", "K>T1Lh#2", "K>T2Rh#2", "K>T1Rh#2"]


def test_lines_name_stations_and_states() -> None:
    shots = {shot.id: shot for shot in plan_shots(load_layout("tractor-4x2"))}
    assert sight_of(shots["D1Lh>F0L"], {"D1Lh": 3, "other": 9}) == Sight("D1Lh", "F0L", 3, 0)
    assert tilt_of(shots["G:across-turned"]) == Tilt("tractor", "across-turned")


@pytest.mark.parametrize(
    ("name", "other"),
    [("T1Lh", "T1Rh"), ("S1Rf", "S1Lf"), ("F0L", "F0R"), ("K", "K"), ("S1L", "S1R"), ("R1Lh", "R1Rh")],
)
def test_mirrored_names(name: str, other: str) -> None:
    assert mirrored(name) == other
    assert mirrored(other) == name


@pytest.mark.parametrize("name", layout_names())
def test_every_station_of_a_pair_has_its_mirror_image(name: str) -> None:
    for unit in load_layout(name).unit:
        stations = {station.name: station for station in stations_of(unit)}
        for station in stations.values():
            if station.side:
                assert stations[mirrored(station.name)].side == -station.side
                assert mirrored(station.target) == stations[mirrored(station.name)].target


WALK = [
    {"at": "K", "shots": [{"to": "T1Lh", "when": ["short", "default", "thorough"]}, {"to": "T1Rh"}]},
    {"at": "T1Lh", "turn": ["T1Lh"], "shots": [{"to": "K", "when": ["short", "default", "thorough"]}]},
    {"at": "T1Rh", "when": ["thorough"], "turn": ["T1Rh"], "shots": [{"to": "K"}]},
    {"at": "T2Lh", "part": "camber", "shots": [{"to": "K"}]},
]


def choosing(short_layout: Any, **chosen: Any) -> list[tuple[str, tuple[str, ...]]]:
    content = short_layout.model_dump(mode="json", by_alias=True, exclude_none=True)
    content["unit"][0]["stand"] = WALK
    layout = type(short_layout).model_validate(content)
    return [(shot.id, shot.turn) for shot in plan_shots(layout, chosen=Chosen(**chosen))]


def test_a_procedure_takes_the_stands_and_shots_that_name_it(short_layout: Any) -> None:
    turned = [("K>T1Lh", ()), ("K>T1Rh", ()), ("T1Lh>K", ("T1Lh",))]
    assert choosing(short_layout) == turned
    assert choosing(short_layout, procedure="short") == [turned[0], turned[2]]
    assert choosing(short_layout, procedure="thorough") == [*turned, ("T1Rh>K", ("T1Rh",))]


def test_a_part_is_walked_only_where_it_was_chosen_and_turns_can_be_left_out(short_layout: Any) -> None:
    assert choosing(short_layout, parts=frozenset({"camber"}))[-1] == ("T2Lh>K", ())
    assert choosing(short_layout, turns=False) == [("K>T1Lh", ()), ("K>T1Rh", ()), ("T1Lh>K", ())]
