from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.job.fold import JobFold
from axledger.job.limits import LimitSheet
from axledger.job.state import Words, decisive_of, state_of
from axledger.job.statements import result_body
from axledger_drivers.registry import decoder_for

Make = Callable[..., Any]


def state(bay: Any) -> Any:
    return state_of(bay.fold, Words(bay.layout), decisive_of(bay.fold))


def test_the_present_shot_says_where_to_stand_what_to_turn_and_what_to_expect(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.level()
    bay.shoot()
    bay.shoot()
    view = state(bay).current
    assert (view.shot.id, view.number, view.total) == ("T1Lh>K", 7, 8)
    assert (view.start_words, view.end_words) == ("axle left, outboard target", "coupling pin")
    assert view.turn_words == ("axle left, outboard target",)
    assert (view.status, view.wanted_more, view.turned) == ("open", 1, None)
    assert view.predicted.value_si == pytest.approx(bay.truth_m(view.shot), abs=0.005)
    bay.act("turned")
    assert state(bay).current.turned == "person"


def test_counts_readings_and_shots_are_those_of_the_fold(bay: Any) -> None:
    bay.finish()
    bay.length(8.11)
    shown = state(bay)
    assert shown.current is None
    assert shown.counts == bay.fold.counts()
    assert [reading.number for reading in shown.readings] == list(range(1, 18))
    assert shown.last.state == "unassigned"
    assert {view.status for view in shown.shots} == {"done"}
    assert [reading.number for view in shown.shots for reading in view.readings] == list(range(1, 17))
    assert shown.meter_zero is not None
    assert not shown.contradicts


def test_a_reading_is_shown_in_the_quantity_of_its_shot(make_bay: Make) -> None:
    from axledger_simulators.line_form import form_named

    bay = make_bay(meter="metre-tilt", one_device=True, repeats=1)
    bay.send(form_named("metre-tilt").measured(length_m=8.110, tilt_deg=0.5, counter=1), after_s=10)
    assert (state(bay).last.text, state(bay).last.unit) == ("+00.50", "deg")
    bay.act("aside", reading=1)
    bay.act("move", reading=1, shot="K>T1Lh")
    assert (state(bay).last.text, state(bay).last.unit) == ("8.110", "m")


def test_earlier_rounds_keep_their_results_beside_the_present_one(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.finish()
    first = state(bay).results
    bay.act("round")
    shown = state(bay)
    assert shown.earlier == {1: first}
    assert [result.value for result in shown.results] == [None]
    assert shown.readings[-1].round == 1
    assert all(not view.readings for view in shown.shots)


def test_links_preparation_moves_and_notes_are_shown(bay: Any) -> None:
    bay.lost()
    bay.act("tick", items=["chocks"])
    bay.act("moved", words="hanger shifted")
    bay.act("note", words="wet floor")
    shown = state(bay)
    assert {link.role: (link.state, link.why) for link in shown.links} == {
        "meter": ("lost", "the plug was pulled"), "inclinometer": ("opened", ""),
    }  # fmt: skip
    assert {item: note for item, _, note in shown.preparation}["chocks"] == "done"
    assert (shown.moves, shown.notes) == (((1, "hanger shifted"),), ("wet floor",))
    assert shown.limits_title == "no limits"


def test_the_decisive_shot_of_a_result_is_named(bay: Any) -> None:
    assert state(bay).decisive == {"trailer.axle1.squareness": "K>T1Rh"}


def test_words_name_stations_and_targets(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2")
    words = Words(bay.layout)
    assert words.station["S1Lf"] == "steer axle left, straightedge, front end"
    assert words.target["S1L"] == "steer axle left, straightedge"
    assert words.target["D1Rh"] == "drive axle right, outboard target"


def test_a_job_that_is_not_there_has_no_state() -> None:
    from axledger.job.library import load_layout

    empty = JobFold("nobody", decoder_for)
    with pytest.raises(LookupError, match="nobody"):
        state_of(empty, Words(load_layout("semitrailer-1axle")))
    assert decisive_of(empty) == {}


def test_a_closed_job_shows_what_its_statement_states(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(layout="semitrailer-2axle", limits=fleet_limits, seed=1)
    bay.finish()
    assert {one.key: one.u for one in state(bay).results} != {
        one.key: one.u for one in bay.fold.fresh_solution(1).results
    }  # a screen is served by a coarser grid of settings
    bay.run.close_job()
    ((_, statement),) = bay.fold.statements
    stated = {one["key"]: (one["u"], one["verdict"]) for one in statement["results"]}
    shown = {one["key"]: (one["u"], one["verdict"]) for one in (result_body(two, 1) for two in state(bay).results)}
    assert shown == stated
