from __future__ import annotations

from collections.abc import Callable
from typing import Any

from axledger.job.model import Sight, Tilt
from axledger.job.rounds import observed


def test_observations_are_the_accepted_readings_of_the_round_with_the_states_of_their_time(bay: Any) -> None:
    bay.finish()
    readings = observed(bay.fold, 1)
    assert len(readings) == 16
    assert readings[0].line == Tilt("trailer", "along")
    assert [one.line for one in readings[-4:]] == [Sight("T1Lh", "K", 1, 0)] * 2 + [Sight("T1Rh", "K", 1, 0)] * 2
    bay.act("aside", reading=16)
    assert observed(bay.fold, 1) == readings[:-1]
    assert observed(bay.fold, 2) == ()


def test_a_solution_is_made_once_as_long_as_nothing_changes(bay: Any) -> None:
    bay.finish()
    first = bay.fold.solution()
    bay.act("note", words="nothing to do with it")
    assert bay.fold.solution() is first
    bay.act("aside", reading=16)
    assert bay.fold.solution() is not first


def test_readings_of_a_shot_that_was_blocked_later_still_count(make_bay: Callable[..., Any]) -> None:
    """The beam was free when they were taken."""
    bay = make_bay(repeats=1)
    bay.finish()
    before = observed(bay.fold, 1)
    bay.act("blocked", shot="T1Rh>K")
    assert observed(bay.fold, 1) == before
