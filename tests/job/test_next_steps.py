"""What is next after jobs with slips and with bad axles, through the real run."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from axledger.geometry.conformity import Verdict
from axledger.job.limits import LimitSheet
from axledger.job.next_steps import NextSteps, next_steps_of
from axledger_simulators.planting import PlantedFaults

Make = Callable[..., Any]
TRAILER = "semitrailer-2axle"


def square(**more: Any) -> PlantedFaults:
    """Nothing wrong, and targets set without error, but for what is named."""
    return PlantedFaults(deviations=0.0, settings=0.0, unevenness=0.0, **more)


def accept_held(bay: Any) -> None:
    for number, place in sorted(bay.fold.board.places.items()):
        if place.state == "held":
            bay.act("accept", reading=number, reason="sure of it")


def take_cure(bay: Any, steps: NextSteps) -> None:
    cure = steps.suspected[0].cure
    bay.act(cure.act, **cure.arguments)


def test_under_way_only_slips_are_looked_for_unless_more_is_asked_for(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(repeats=1, limits=fleet_limits, faults=square())
    bay.level()
    assert next_steps_of(bay.fold) == NextSteps(findings=next_steps_of(bay.fold).findings)
    asked = next_steps_of(bay.fold, asked=True)
    assert asked.suspected == ()
    assert [one.kind for one in asked.advice][:1] == ["open"]
    assert asked.moves.measure_first == ("axle: squareness is not determined yet: finish the plan",)


def test_a_reading_in_another_unit_stands_as_a_slip_until_its_cure_is_done(
    make_bay: Make, fleet_limits: LimitSheet
) -> None:
    bay = make_bay(repeats=1, limits=fleet_limits, faults=square(yaw_deg={"trailer.axle1": 0.5}))
    bay.work(lambda shot: shot.id != "T1Rh>K")
    bay.vehicle.turn("T1Rh")
    bay.length(bay.truth_m(bay.fold.current()) / 0.3048)  # the number in feet, sent as metres
    accept_held(bay)
    steps = next_steps_of(bay.fold, asked=True)
    assert (steps.suspected[0].slip, steps.suspected[0].shots[0]) == ("unit", "T1Rh>K")
    assert steps.advice == ()
    assert steps.outlooks == ()
    assert steps.moves.moves == ()  # the axle is bad, but first the slip, then the bolts
    take_cure(bay, steps)
    assert bay.fold.current().id == "T1Rh>K"
    bay.finish()
    cured = next_steps_of(bay.fold)
    assert cured.suspected == ()
    assert [move.axle for move in cured.moves.moves] == ["T1"]


def test_a_swapped_pair_is_put_right_by_its_cure_without_another_shot(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(
        layout=TRAILER, repeats=1, limits=fleet_limits, faults=square(yaw_deg={"trailer.axle1": 0.6})
    )  # fmt: skip
    pair = ("K>T1Lh", "K>T1Rh")
    other = dict(zip(pair, reversed(pair), strict=True))
    truth = {shot.id: bay.truth_m(shot) for shot in bay.fold.shots() if shot.id in pair}
    while (shot := bay.fold.current()) is not None:
        if shot.id in other:
            bay.length(truth[other[shot.id]])
            accept_held(bay)
        else:
            bay.shoot()
            accept_held(bay)
    steps = next_steps_of(bay.fold)
    first = steps.suspected[0]
    assert first.slip == "swap"
    assert set(first.shots) == set(pair)
    assert first.cure.act == "swap"
    readings = len(bay.fold.readings)
    take_cure(bay, steps)
    assert next_steps_of(bay.fold).suspected == ()
    assert len(bay.fold.readings) == readings


def test_moves_told_are_marked_and_the_round_after_them_is_a_short_one(
    make_bay: Make, fleet_limits: LimitSheet
) -> None:
    bay = make_bay(
        layout=TRAILER, repeats=1, limits=fleet_limits, faults=square(yaw_deg={"trailer.axle2": 0.35})
    )  # fmt: skip
    every = len(bay.fold.open_shots())
    bay.finish()
    steps = next_steps_of(bay.fold)
    (move,) = steps.moves.moves
    assert steps.to_make == (move,)
    assert steps.made == ()
    bay.act("moved", **move.arguments)
    told = next_steps_of(bay.fold)
    assert told.moves.moves == (move,)
    assert told.is_made(move)
    assert told.to_make == ()
    bay.act("round")
    assert 0 < len(bay.fold.open_shots()) < every
    assert next_steps_of(bay.fold, asked=True).made == ()
    bay.same_as_refolded()


def test_what_was_worked_out_holds_until_the_board_changes(make_bay: Any) -> None:
    bay = make_bay(layout="semitrailer-1axle", repeats=1, seed=3)
    bay.level()
    while bay.fold.current() is not None:
        bay.shoot()
    first = next_steps_of(bay.fold)
    bay.lost()
    assert next_steps_of(bay.fold) is first
    bay.act("note", words="left spring sits low")
    assert next_steps_of(bay.fold) is not first


def test_what_is_undecided_names_the_setting_to_prove_and_what_it_does_on_the_road(
    make_bay: Any, fleet_limits: LimitSheet
) -> None:
    # next to the limit of 0.091 deg; invented
    faults = PlantedFaults(deviations=0.0, yaw_deg={"trailer.axle1": 0.09})
    bay = make_bay(layout="semitrailer-1axle", limits=fleet_limits, seed=2, faults=faults)
    bay.finish()
    (result,) = bay.fold.solution().results
    assert result.verdict is Verdict.UNDECIDED
    steps = next_steps_of(bay.fold)
    (proof,) = steps.proofs
    assert result.name in proof
    assert "%" in proof
    axle = steps.consequences[0]
    assert axle.key == result.key
    assert axle.sideways_m_per_km == pytest.approx(1000 * math.tan(result.value))
