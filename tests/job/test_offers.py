from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.job.handling import READING_S, SHOT_S, STAND_S, TURN_S
from axledger.job.model import Sight, Tilt
from axledger.job.offers import Yard, open_offers, yard_of
from axledger.job.rounds import observed
from axledger.job.settings import MountKind


def yard(bay: Any) -> Yard:
    return yard_of(bay.fold, {one.line for one in observed(bay.fold, bay.fold.board.round)}, {"trailer", "tractor"})


@pytest.fixture
def finished(make_bay: Callable[..., Any]) -> Any:
    bay = make_bay(layout="semitrailer-1axle")
    bay.finish()
    return bay


def test_every_pair_of_stations_is_one_line_in_the_states_ahead(finished: Any) -> None:
    own = yard(finished)
    pairs = [frozenset((shot.start, shot.end or shot.tilt)) for shot in own.shots]
    assert len(pairs) == len(set(pairs))
    # T1Lh was turned once; the pin cannot be turned
    lines = [line for line in own.lines() if isinstance(line, Sight) and "T1Lh" in (line.start, line.end)]
    assert sorted(max(line.start_turns, line.end_turns) for line in lines) == [1, 2, 3]
    assert Tilt("trailer", "along") in own.lines()


def test_a_line_is_shot_again_the_way_its_targets_still_hang(finished: Any) -> None:
    own = yard(finished)
    by_id = {shot.id: line for shot, line in own.present(own.turns)}
    assert by_id["T1Lh>K"] == Sight("T1Lh", "K", 1, 0)
    shot = next(shot for shot in own.shots if shot.id == "T1Lh>K")
    assert own.kind_of(shot, by_id["T1Lh>K"]) == "repeat"
    offer = own.look(shot, by_id["T1Lh>K"])
    assert (offer.readings, offer.arguments["shots"]) == (1, ["T1Lh>K"])
    assert offer.words == "one more reading of T1Lh>K"


def test_after_a_turn_the_lines_of_the_target_are_in_their_next_state(finished: Any) -> None:
    own = yard(finished)
    seen = own.seeing("T1Lh", {**own.turns, "T1Lh": 2})
    assert [line for _, line in seen] == [Sight("T1Lh", "K", 2, 0)]
    offer = own.turned("T1Lh", seen)
    assert offer.words == "turn target T1Lh half a turn and shoot T1Lh>K again"
    assert offer.seconds == TURN_S[MountKind.HUB] + 2 * STAND_S + SHOT_S + READING_S
    assert offer.arguments == {"shots": ["T1Lh>K"], "turn": ["T1Lh"], "readings": 2}
    assert own.seeing("T1Lh", {**own.turns, "T1Lh": 9}) == []


def test_straightedges_and_inboard_targets_have_their_own_words(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="tractor-4x2")
    bay.finish()
    own = yard(bay)
    for target, words in (("S1L", "lay straightedge S1L end for end"), ("D1Li", "hang target D1Li turned half a turn")):
        state = {**own.turns, target: own.turns.get(target, 0) + 1}
        assert own.turned(target, own.seeing(target, state)[:1]).words.startswith(words)


def test_spares_are_offered_as_such_and_blocked_lines_not_at_all(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="tractor-4x2")
    bay.finish()
    own = yard(bay)
    spare = next((shot, line) for shot, line in own.present(own.turns) if shot.id == "F0L>F0R")
    assert own.kind_of(*spare) == "spare"
    assert own.look(*spare).words == "shoot the spare line F0L>F0R"
    other = make_bay(layout="tractor-4x2")
    other.level()
    name = other.fold.current().id
    other.act("blocked")
    assert name not in {shot.id for shot in yard(other).shots}


def test_open_shots_carry_their_turns_and_missing_readings(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-1axle")
    bay.level()
    bay.shoot()
    offers = {offer.shots[0].id: offer for offer in open_offers(bay.fold, "K")}
    assert [offer.act for offer in offers.values()] == ["go"] * len(offers)
    first = bay.fold.current().id
    assert offers[first].readings == 1
    assert offers[first].seconds == SHOT_S
    assert offers["T1Lh>K"].lines == (Sight("T1Lh", "K", 1, 0),)
    assert offers["T1Lh>K"].seconds == SHOT_S + READING_S + STAND_S + TURN_S[MountKind.HUB]
    assert "T1Lh" in yard(bay).pending
