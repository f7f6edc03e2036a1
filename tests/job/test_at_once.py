"""What is said of a reading the moment it arrives. Sizes are invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.job.at_once import slips_of_held
from axledger.job.findings import findings_of
from axledger_simulators.beam import trace

Make = Callable[..., Any]


@pytest.fixture
def trailer(make_bay: Make) -> Any:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=11)
    bay.level()
    return bay


def go_to(bay: Any, name: str) -> None:
    while bay.fold.current().id != name:
        bay.shoot()
        if bay.states()[-1] == "held":  # a slip that was accepted before speaks against the right ones
            bay.act("accept", reason="sure of it")


def held_words(bay: Any) -> str:
    assert bay.states()[-1] == "held"
    return str(bay.fold.board.places[len(bay.fold.readings)].why)


@pytest.mark.parametrize(
    ("name", "read", "slip", "words"),
    [
        ("K>T1Rh", lambda m: m + 1.1, "past target", "beam past the target?"),
        ("K>T1Rh", lambda m: m - 0.9, "in the beam", "something in the beam?"),
        ("K>T1Rh", lambda m: m / 0.3048, "unit", "read in feet, not metres?"),
        ("T1Rh>T2Rh", lambda m: m - 0.12, "edge", "wrong edge of the meter, or not the right target?"),
        ("T1Lh>K", lambda m: m + 0.02, "misread", "right target?"),
    ],
)
def test_a_reading_far_off_is_held_with_the_likeliest_slip(
    trailer: Any, name: str, read: Callable[[float], float], slip: str, words: str
) -> None:
    go_to(trailer, name)
    shot = trailer.fold.current()
    for target in shot.turn:
        trailer.vehicle.turn(target)
    trailer.length(read(trailer.truth_m(shot)))
    assert words in held_words(trailer)
    assert slips_of_held(trailer.fold, len(trailer.fold.readings))[0].slip == slip
    trailer.same_as_refolded()


def test_the_neighbour_is_named_while_the_person_still_stands_there(trailer: Any) -> None:
    go_to(trailer, "K>T1Ri")
    trailer.length(trace(trailer.vehicle, "K", "T2Ri").distance_m)
    assert held_words(trailer).endswith(": aimed at T2Ri?")
    (finding,) = slips_of_held(trailer.fold, len(trailer.fold.readings))
    assert (finding.slip, finding.shots) == ("neighbour", ("K>T1Ri",))


def test_an_exchanged_pair_is_named_as_soon_as_it_is_complete(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=13)
    bay.level()
    left, right = (trace(bay.vehicle, *ends).distance_m for ends in (("T1Li", "T2Ri"), ("T1Ri", "T2Li")))
    assert abs(left - right) > 0.010
    go_to(bay, "T1Li>T2Ri")
    bay.length(right)
    if bay.states()[-1] == "held":
        bay.act("accept", reason="sure of it")
    go_to(bay, "T1Ri>T2Li")
    bay.length(left)
    (finding,) = findings_of(bay.fold).findings
    assert (finding.slip, set(finding.shots)) == ("swap", {"T1Ri>T2Li", "T1Li>T2Ri"})


def test_nothing_is_said_of_an_inclination_or_an_unplaced_reading(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1)
    bay.tilt(1.2)
    assert slips_of_held(bay.fold, 1) == ()
