"""What to do, from whole jobs on simulated vehicles with planted faults."""

from __future__ import annotations

from collections.abc import Callable
from math import radians, tan
from typing import Any

import pytest

from axledger.geometry.conformity import Verdict
from axledger.job.layout import Layout
from axledger.job.library import load_layout
from axledger.job.limits import LimitSheet
from axledger.job.moves import advised_moves
from axledger_simulators.planting import PlantedFaults

Make = Callable[..., Any]
TRAILER = "semitrailer-2axle"


def faults(**more: Any) -> PlantedFaults:
    """Nothing wrong, and targets set without error, but for what is named."""
    return PlantedFaults(deviations=0.0, settings=0.0, unevenness=0.0, **more)


def trailer_with(*, adjuster: tuple[Any, ...]) -> Layout:
    layout = load_layout(TRAILER)
    return layout.model_copy(update={"unit": (layout.unit[0].model_copy(update={"adjuster": adjuster}),)})


def measured(make_bay: Make, **asked: Any) -> Any:
    bay = make_bay(repeats=1, **asked)
    bay.finish()
    return bay


def test_a_skew_axle_is_moved_at_one_end_by_the_difference_times_spacing_over_track(
    make_bay: Make, fleet_limits: LimitSheet
) -> None:
    bay = measured(make_bay, layout=TRAILER, limits=fleet_limits, faults=faults(yaw_deg={"trailer.axle2": 0.35}))
    plan = advised_moves(bay.fold)
    (move,) = plan.moves
    assert (move.axle_name, move.end, move.way) in {("axle 2", "left", "forward"), ("axle 2", "right", "rearward")}
    # by hand: mounts 2 x 0.680 m apart, turned back by 0.35 degrees; the coupling line turns too little to count
    assert move.amount_mm == pytest.approx(1360 * tan(radians(0.35)), abs=0.6)
    assert plan.cannot == ()
    assert {one.verdict for one in plan.predicted if one.key.endswith("axle2.squareness")} == {Verdict.CONFORMS}
    assert plan.move_words[1] == f"1. {move.words}"
    assert move.words.startswith(f"move the {move.end} end of axle 2 {move.way} ")


def test_a_vehicle_that_conforms_is_left_alone(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = measured(make_bay, layout="semitrailer-1axle", limits=fleet_limits, faults=faults())
    plan = advised_moves(bay.fold)
    assert (plan.moves, plan.cannot, plan.measure_first, plan.move_words) == ((), (), (), ())


def test_what_is_only_undecided_is_measured_further_before_it_is_moved(
    make_bay: Make, fleet_limits: LimitSheet
) -> None:
    planted = faults(yaw_deg={"trailer.axle1": 0.075})
    bay = measured(make_bay, layout="semitrailer-1axle", limits=fleet_limits, faults=planted)
    plan = advised_moves(bay.fold)
    assert plan.moves == ()
    assert len(plan.measure_first) == 1
    assert "undecided" in plan.measure_first[0]
    settled = advised_moves(bay.fold, settle=True)
    assert len(settled.moves) == 1
    assert settled.measure_first == ()


def test_without_an_adjuster_it_says_so(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = measured(
        make_bay, layout=trailer_with(adjuster=()), limits=fleet_limits, faults=faults(yaw_deg={"trailer.axle2": 0.35})
    )
    plan = advised_moves(bay.fold)
    assert plan.moves == ()
    assert any("axle 2: squareness" in words and "no declared adjuster moves it" in words for words in plan.cannot)


def test_a_range_that_ends_before_is_said(make_bay: Make, fleet_limits: LimitSheet) -> None:
    short = load_layout(TRAILER).unit[0].adjuster[1].model_copy(update={"range_mm": (-1.5, 1.5), "side": "left"})
    bay = measured(
        make_bay, layout=trailer_with(adjuster=(short,)), limits=fleet_limits,
        faults=faults(yaw_deg={"trailer.axle2": 0.35}),
    )  # fmt: skip
    plan = advised_moves(bay.fold)
    assert [move.signed_mm for move in plan.moves] == [1.5]
    assert any("the declared range of trailer.axle2-shift ends before" in words for words in plan.cannot)


def test_steering_position_comes_before_toe_and_both_after_the_axles(make_bay: Make, fleet_limits: LimitSheet) -> None:
    planted = faults(
        yaw_deg={"tractor.drive": 0.4}, toe_deg={"tractor.steer": -0.4}, steering_deg={"tractor.steer": 0.5},
        offset_mm={"tractor.drive": 22.0},
    )  # fmt: skip
    bay = measured(make_bay, layout="tractor-4x2", limits=fleet_limits, faults=planted)
    plan = advised_moves(bay.fold)
    assert [move.adjuster.removeprefix("tractor.") for move in plan.moves] == [
        "drive-lateral", "drive-shift", "steer-drag-link", "steer-tie-rod",
    ]  # fmt: skip
    lateral, shift, drag, tie = plan.moves
    assert lateral.way == "right"
    assert (shift.steps, shift.amount_mm) == (round(shift.amount_mm / 0.5), shift.amount_mm)
    assert drag.way == "shorter"
    assert tie.way == "longer"
    assert tie.turns == pytest.approx(tie.amount_mm / 3.0)
    # the toe is taken to the middle of its limits: 0.15 degrees over an arm of 190 mm
    assert tie.amount_mm == pytest.approx(190 * tan(radians(0.55)), abs=0.25)


def test_nothing_is_advised_on_readings_that_contradict_each_other(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(repeats=1, layout="semitrailer-1axle", limits=fleet_limits)
    bay.level()
    bay.shoot()
    bay.shoot()
    bay.shoot(off_m=0.2)
    for number, place in list(bay.fold.board.places.items()):
        if place.state == "held":
            bay.act("accept", reading=number, reason="sure of it")
    bay.finish()
    assert bay.fold.solution().contradicts
    plan = advised_moves(bay.fold)
    assert plan.moves == ()
    assert "contradict" in plan.measure_first[0]


def test_without_limits_there_is_nothing_to_judge_by(make_bay: Make) -> None:
    bay = measured(make_bay, layout="semitrailer-1axle")
    assert "no limits" in advised_moves(bay.fold).measure_first[0]


def test_an_unfinished_plan_says_what_is_missing(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(repeats=1, layout="semitrailer-1axle", limits=fleet_limits)
    bay.level()
    assert advised_moves(bay.fold).measure_first == ("axle: squareness is not determined yet: finish the plan",)
