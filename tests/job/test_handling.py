from __future__ import annotations

from axledger.job.handling import READING_S, SHOT_S, STAND_S, TURN_S, shooting_s
from axledger.job.more import TURNABLE


def test_who_stands_there_already_does_not_walk() -> None:
    assert shooting_s(["K"], 1, "K") == SHOT_S
    assert shooting_s(["K"], 1, "F0L") == SHOT_S + STAND_S


def test_two_shots_from_one_place_are_one_walk_and_repeats_are_short() -> None:
    assert shooting_s(["K", "K", "T1Lh"], 2, "") == 3 * (SHOT_S + READING_S) + 2 * STAND_S


def test_every_kind_that_turns_has_its_time() -> None:
    assert set(TURN_S) == set(TURNABLE)
