"""Readings beyond the walk: asked for, shot like any others, and folded the same again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from axledger.contract.errors import BadInput, Refused, UnknownName
from axledger.job.model import Sight
from axledger.job.more import offered_shots, turnable_targets
from axledger.job.rounds import observed
from axledger.job.settings import MountKind
from axledger.job.slip_scene import taken_shots


def sights(bay: Any) -> list[Sight]:
    return [one.line for one in observed(bay.fold, bay.fold.board.round) if isinstance(one.line, Sight)]


def test_one_more_reading_is_one_more_of_that_shot(bay: Any) -> None:
    bay.finish()
    before = len(bay.fold.board.accepted("T1Rh>K"))
    bay.act("more", shots=["T1Rh>K"])
    assert [shot.id for shot in bay.fold.open_shots()] == ["T1Rh>K"]
    assert bay.fold.current().id == "T1Rh>K"
    bay.shoot()
    assert len(bay.fold.board.accepted("T1Rh>K")) == before + 1
    assert bay.fold.open_shots() == ()
    assert len({line for line in sights(bay) if (line.start, line.end) == ("T1Rh", "K")}) == 1
    bay.same_as_refolded()


def test_several_readings_may_be_asked_for_and_more_adds_up(bay: Any) -> None:
    bay.finish()
    before = len(bay.fold.board.accepted("T1Rh>K"))
    bay.act("more", shots=["T1Rh>K"], readings=2)
    bay.act("more", shots=["T1Rh>K"])
    assert bay.fold.wanted_more(bay.fold.current()) == 3
    bay.finish()
    assert len(bay.fold.board.accepted("T1Rh>K")) == before + 3


def test_a_line_whose_target_was_turned_since_is_another_shot(bay: Any) -> None:
    bay.finish()
    assert bay.fold.board.turns["T1Lh"] == 1
    bay.act("more", shots=["K>T1Lh"], readings=2)
    (shot,) = bay.fold.open_shots()
    assert shot.id not in {"K>T1Lh"}
    assert (shot.start, shot.end, shot.turn) == ("K", "T1Lh", ())
    bay.finish()
    assert sights(bay).count(Sight("K", "T1Lh", 0, 1)) == 2
    bay.same_as_refolded()


def test_a_target_is_turned_once_more_before_the_first_line(bay: Any) -> None:
    bay.finish()
    bay.act("more", shots=["T1Lh>K", "K>T1Lh"], turn=["T1Lh"], readings=2)
    first, second = bay.fold.open_shots()
    assert (first.turn, second.turn) == (("T1Lh",), ())
    assert len({first.id, second.id} | {shot.id for shot in bay.fold.shots()}) == len(bay.fold.shots())
    bay.finish()
    assert bay.fold.board.turns["T1Lh"] == 2
    assert sights(bay).count(Sight("T1Lh", "K", 2, 0)) == 2
    assert sights(bay).count(Sight("K", "T1Lh", 0, 2)) == 2
    bay.same_as_refolded()
    assert not bay.fold.solution().contradicts


def test_one_reading_of_a_new_look_is_enough_where_one_was_asked_for(bay: Any) -> None:
    bay.finish()
    bay.act("more", shots=["K>T1Lh"], turn=["T1Lh"])
    bay.shoot()
    assert bay.fold.open_shots() == ()
    assert sights(bay).count(Sight("K", "T1Lh", 0, 2)) == 1


def test_a_spare_line_is_shot_under_its_own_name(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="tractor-4x2")
    assert "F0L>F0R" not in {shot.id for shot in bay.fold.shots()}
    bay.act("more", shots=["F0L>F0R"], readings=2)
    assert bay.fold.current().id == "F0L>F0R"
    bay.level()
    bay.shoot()
    assert bay.fold.board.accepted("F0L>F0R")


def test_what_was_asked_for_may_be_undone_and_skipped(bay: Any) -> None:
    bay.finish()
    plan = [shot.id for shot in bay.fold.shots()]
    bay.act("more", shots=["T1Lh>K"], turn=["T1Lh"])
    assert len(bay.fold.shots()) == len(plan) + 1
    bay.act("undo")
    assert [shot.id for shot in bay.fold.shots()] == plan
    assert bay.fold.open_shots() == ()
    bay.act("more", shots=["T1Lh>K"], turn=["T1Lh"])
    bay.act("skip")
    assert bay.fold.open_shots() == ()
    assert bay.fold.board.turns["T1Lh"] == 1


def test_another_round_starts_with_the_walk_alone(bay: Any) -> None:
    bay.finish()
    plan = [shot.id for shot in bay.fold.shots()]
    bay.act("more", shots=["T1Lh>K"], turn=["T1Lh"])
    bay.finish()
    bay.act("round")
    assert [shot.id for shot in bay.fold.shots()] == plan
    assert len(observed(bay.fold, 1)) == 2 + sum(len(bay.fold.board.accepted(name, 1)) for name in plan) - 1


@pytest.mark.parametrize(
    ("asked", "error"),
    [
        ({"shots": []}, BadInput),
        ({"shots": ["K>T1Lh"], "readings": 0}, BadInput),
        ({"shots": ["K>T9Lh"]}, UnknownName),
        ({"shots": ["K>T1Lh"], "turn": ["K"]}, UnknownName),
        ({"shots": ["K>T1Lh"], "turn": ["T1Rh"]}, BadInput),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_changes(bay: Any, asked: dict[str, Any], error: type) -> None:
    bay.finish()
    before = bay.fold.board
    with pytest.raises(error):
        bay.act("more", **asked)
    assert bay.fold.board is before


def test_a_blocked_line_is_refused(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-2axle")
    bay.level()
    name = bay.fold.current().id
    bay.act("blocked")
    with pytest.raises(Refused):
        bay.act("more", shots=[name])


def test_every_walk_and_spare_is_offered_and_what_turns_is_known(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="tractor-4x2")
    assert {shot.id for shot in bay.fold.shots()} < set(offered_shots(bay.fold))
    targets = turnable_targets(bay.fold)
    assert targets["D1Lh"] is MountKind.HUB
    assert targets["S1L"] is MountKind.STRAIGHTEDGE
    assert targets["D1Ri"] is MountKind.INBOARD
    assert not {"F0L", "F0R", "G"} & set(targets)


def test_a_spare_line_that_was_asked_for_is_there_once(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="tractor-4x2")
    bay.finish()
    bay.act("more", shots=["F0L>F0R"])
    bay.finish()
    assert [shot.id for shot in bay.fold.every_shot()].count("F0L>F0R") == 1
    # the slips are sought among the readings as they are, not with one of them counted twice
    assert [taken.shot.id for taken in taken_shots(bay.fold, 1)].count("F0L>F0R") == 1
    bay.fold.board = replace(bay.fold.board, added=frozenset({"F0L>F0R"}))  # as a blocked line may do
    assert [shot.id for shot in bay.fold.shots()].count("F0L>F0R") == 1
