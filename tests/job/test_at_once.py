"""What is said of a reading the moment it arrives. Sizes are invented."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from axledger.job.at_once import slips_of_held
from axledger.job.findings import findings_of
from axledger.job.fold import JobFold
from axledger.job.opening import entries_of
from axledger_drivers.registry import decoder_for
from axledger_simulators.beam import trace
from axledger_simulators.planting import PlantedFaults

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


def test_a_job_of_before_the_question_is_folded_without_it(make_bay: Make) -> None:
    """An opening without ``settings`` is of such a job: what it accepted must not be held by a later version."""
    faults = PlantedFaults(unevenness=0.0, yaw_deg={"trailer.axle1": 0.08, "trailer.axle2": 0.04})
    bay = make_bay(layout="semitrailer-2axle", repeats=1, faults=faults)
    go_to(bay, "T1Lh>K")
    for target in bay.fold.current().turn:
        bay.vehicle.turn(target)
    bay.length(trace(bay.vehicle, "T1Rh", "K").distance_m)
    assert held_words(bay).startswith("fits another line far better")
    older = JobFold(bay.job, decoder_for)
    for entry in entries_of(bay.ledger, bay.job):
        body = {key: value for key, value in entry.body.items() if entry.kind != "job" or key != "settings"}
        older.apply(SimpleNamespace(seq=entry.seq, kind=entry.kind, body=body))
    older.quiet(bay.clock.now().mono_ns)
    assert older.board.places[len(older.readings)].state == "accepted"
    bay.same_as_refolded()
