"""What a person may do, what it does to board and results, and that a refused act leaves no trace."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.contract.errors import AxledgerError, Refused, UnknownName
from axledger.job.acts import ACTS
from axledger.job.digest import digests
from axledger.job.preparation import PREPARATION
from axledger.job.proof import prove
from axledger.job.solution import Result
from axledger_simulators.line_form import form_named

Make = Callable[..., Any]


def value_of(bay: Any, key: str = "trailer.axle1.squareness") -> float:
    result = next(result for result in bay.fold.solution().results if result.key == key)
    assert result.value is not None
    return float(result.value)


def lengths(bay: Any, shot: str) -> list[float]:
    fold = bay.fold
    return [float(next(iter(fold.readings[n].values.values()))[1]) for n in fold.board.accepted(shot)]


def refused(bay: Any, name: str, **arguments: Any) -> AxledgerError:
    """Do what must be refused; prove that nothing was written and nothing changed."""
    size, before, past = bay.ledger.head().size, digests(bay.fold), len(bay.fold.past)
    with pytest.raises((Refused, UnknownName)) as caught:
        bay.act(name, **arguments)
    assert (bay.ledger.head().size, digests(bay.fold), len(bay.fold.past)) == (size, before, past)
    error = caught.value
    assert isinstance(error, AxledgerError)
    assert all((error.what, error.found, error.allowed, error.do))
    return error


# -- undo


def test_undo_twice_then_a_new_reading(make_bay: Make, short_layout: Any) -> None:
    """Lengths invented: taken 4318, 3906, 4320 mm; two undone; 3907 taken -> 4318 and 3907 stand, all four are kept."""
    bay = make_bay(layout=short_layout, repeats=1)
    for metres in (4.318, 3.906, 4.320):
        bay.length(metres)
    assert bay.states() == ["accepted"] * 3
    bay.act("undo")
    bay.act("undo")
    assert bay.fold.current().id == "K>T1Lh"
    bay.length(3.907)
    assert bay.states() == ["accepted", "set aside", "set aside", "accepted"]
    assert (lengths(bay, "K>T2Lh"), lengths(bay, "K>T1Lh")) == ([4.318], [3.907])
    stored = [entry for entry in bay.ledger.entries(job=bay.job) if entry.kind in ("arrival", "act")]
    assert [entry.kind for entry in stored] == ["arrival"] * 3 + ["act"] * 2 + ["arrival"]
    assert [entry.body["act"] for entry in stored if entry.kind == "act"] == ["undo", "undo"]


def test_undo_goes_back_twenty_steps_and_to_the_very_start(bay: Any) -> None:
    boards = [bay.fold.board]
    for step in range(22):
        if step % 3 == 0:
            bay.act("note", words=f"note {step}")
        elif step in (7, 14):
            bay.act("skip")
        else:
            bay.shoot()
        boards.append(bay.fold.board)
    taken = len(bay.fold.readings)
    for earlier in reversed(boards[:-1]):
        bay.act("undo")
        now = bay.fold.board
        assert (now.closed, now.notes) == (earlier.closed, earlier.notes)
        # a target that was turned for a reading hangs turned, whatever becomes of the reading
        assert (now.turns, now.turned) == (boards[-1].turns, boards[-1].turned)
        assert {n: p for n, p in now.places.items() if p.state == "accepted"} == earlier.places
    assert bay.states() == ["set aside"] * taken
    assert "nothing is left to undo" in refused(bay, "undo").what
    bay.same_as_refolded()


def test_undo_gives_back_a_reading_that_a_later_one_pushed_out(bay: Any) -> None:
    """The third repeat shows the first to be the odd one; undone, the first stands again."""
    bay.level()
    right = bay.truth_m(bay.fold.current())
    bay.length(right + 0.0026)  # repeats differ by 2.6 mm: more than 2.8 times the 0.7 mm that the meter repeats to
    bay.length(right)
    assert bay.fold.current().id == "K>T1Lh"
    told = bay.length(right + 0.0001)
    assert bay.states()[-3:] == ["held", "accepted", "accepted"]
    assert [(one.kind, one.reading) for one in told] == [("accepted", 11), ("noted", 9)]
    assert told[1].words == "reading 9: does not agree with the other repeats of this shot"
    bay.act("undo")
    assert bay.states()[-3:] == ["accepted", "accepted", "set aside"]


def test_an_undone_reading_can_be_accepted_again(bay: Any) -> None:
    bay.shoot()
    bay.act("undo")
    bay.act("accept", reading=1)
    assert bay.states() == ["accepted"]
    assert bay.fold.board.places[1].shot == "GT:along"


# -- where readings go


def test_a_reading_moves_to_another_shot_with_its_bytes_untouched(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.level()
    number = len(bay.fold.readings) + 1
    bay.shoot()
    raw = bay.fold.readings[number].raw
    bay.act("move", reading=number, shot="K>T1Rh")
    place = bay.fold.board.places[number]
    assert (place.state, place.shot, place.why) == ("accepted", "K>T1Rh", "moved from K>T1Lh")
    assert bay.fold.readings[number].raw == raw
    assert bay.fold.current().id == "K>T1Lh"
    bay.same_as_refolded()


def test_a_reading_moved_long_after_keeps_the_turns_of_its_time(make_bay: Make) -> None:
    """What was shot before a target was turned is a reading of the target as it hung then."""
    bay = make_bay(repeats=1)
    bay.finish()
    number = bay.fold.board.accepted("K>T1Lh")[0]
    assert bay.fold.board.turns == {"T1Lh": 1, "T1Rh": 1}
    bay.act("move", reading=number, shot="K>T1Rh")
    assert bay.fold.board.places[number].turns == {}
    bay.act("aside", reading=number)
    bay.act("accept", reading=number)
    assert bay.fold.board.places[number].turns == {}


def test_a_reading_moved_to_a_shot_that_begins_with_a_turn_says_that_the_turn_was_made(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.level()
    bay.shoot()
    bay.shoot()
    taken = len(bay.fold.readings)
    bay.act("move", reading=taken, shot="T1Lh>K")
    assert bay.fold.board.places[taken].turns == {"T1Lh": 1}
    assert bay.fold.board.turns == {"T1Lh": 1}
    bay.act("undo")
    assert bay.fold.board.turns == {}


def test_a_reading_only_goes_where_its_quantity_is_wanted(bay: Any) -> None:
    bay.shoot()
    assert "does not fit" in refused(bay, "move", reading=1, shot="K>T1Lh").what
    assert "does not fit" in refused(bay, "accept", reading=bay_unassigned(bay), shot="GT:across").what
    refused(bay, "move", reading=1, shot="K>T7Lh")
    refused(bay, "move", reading=1)
    refused(bay, "move", reading=77, shot="GT:across")
    refused(bay, "move", shot="GT:across")  # none is held, so none is meant


def bay_unassigned(bay: Any) -> int:
    bay.length(8.11)  # an inclination is wanted
    number = len(bay.fold.readings)
    assert bay.fold.board.places[number].state == "unassigned"
    return number


def test_what_was_unassigned_or_backlog_can_be_accepted_for_the_shot_named(make_bay: Make) -> None:
    bay = make_bay(repeats=1, plug_in=False)
    bay.plug_in()
    number = bay_unassigned(bay)
    bay.act("accept", reading=number, shot="K>T1Lh", reason="that was the left side")
    place = bay.fold.board.places[number]
    assert (place.state, place.shot, place.why) == ("accepted", "K>T1Lh", "that was the left side")
    assert "cannot be accepted" in refused(bay, "accept", reading=number).what


def test_the_newest_held_reading_is_the_one_meant(bay: Any) -> None:
    assert "the newest reading is not held" in refused(bay, "accept").what
    assert "none yet" in refused(bay, "accept", reading=1).allowed
    bay.level()
    bay.shoot(off_m=0.4)
    bay.shoot(off_m=0.4)
    bay.act("accept")
    assert bay.states()[-2:] == ["held", "accepted"]
    # an older held reading is out of sight by now: it has to be named
    earlier = len(bay.fold.readings) - 1
    assert "the newest reading is not held" in refused(bay, "aside").what
    bay.act("aside", reading=earlier)
    assert bay.states()[-2:] == ["set aside", "accepted"]


def test_readings_of_an_earlier_round_do_not_get_into_this_one(make_bay: Make) -> None:
    """Between rounds work was done: an old length would be evidence of a vehicle that is no more."""
    bay = make_bay(repeats=1)
    bay.level()
    bay.shoot(off_m=0.4)
    held = len(bay.fold.readings)
    assert bay.states()[-1] == "held"
    bay.act("round")
    assert "the newest reading is not held" in refused(bay, "accept").what
    assert "round 1" in refused(bay, "accept", reading=held).what
    assert "round 1" in refused(bay, "move", reading=1, shot="GT:across").what
    assert "the newest reading is not held" in refused(bay, "aside").what
    bay.act("aside", reading=held)
    assert bay.fold.board.places[held].round == 1


def test_a_repeat_never_counts_twice(make_bay: Make) -> None:
    bay = make_bay(meter="metre-tilt", one_device=True)
    line = form_named("metre-tilt").measured(length_m=8.110, tilt_deg=0.5, counter=1)
    bay.send(line, after_s=10)
    bay.send(line, after_s=10)
    assert bay.states() == ["accepted", "repeat"]
    for name, more in (("accept", {}), ("move", {"shot": "GT:across"}), ("aside", {})):
        refused(bay, name, reading=2, **more)


def test_setting_aside_changes_the_result_and_opens_the_shot(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.finish()
    number = bay.fold.board.accepted("T1Lh>K")[0]
    before = value_of(bay)
    bay.act("aside", reading=number, reason="the dot was on the rim")
    assert bay.fold.board.places[number].why == "the dot was on the rim"
    assert bay.fold.current().id == "T1Lh>K"
    assert value_of(bay) != before
    bay.act("undo")
    assert value_of(bay) == before


# -- shots


def test_swap_exchanges_left_and_right_and_mirrors_the_result(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.finish()
    before = {shot: lengths(bay, shot) for shot in ("K>T1Lh", "K>T1Rh", "T1Lh>K", "T1Rh>K")}
    straight = value_of(bay)
    bay.act("swap", shot="K>T1Lh")
    assert (lengths(bay, "K>T1Lh"), lengths(bay, "K>T1Rh")) == (before["K>T1Rh"], before["K>T1Lh"])
    bay.act("swap")  # the last shot taken: T1Rh>K
    assert lengths(bay, "T1Lh>K") == before["T1Rh>K"]
    # all of left called right and the other way round is the mirrored vehicle
    assert value_of(bay) == pytest.approx(-straight, abs=1e-9)
    bay.same_as_refolded()


def test_swapped_readings_take_the_state_of_their_targets_along(make_bay: Make) -> None:
    """Who shot on the wrong side turned the target there too."""
    bay = make_bay(repeats=1)
    bay.level()
    for _ in range(3):
        bay.shoot()
    number = bay.fold.board.accepted("T1Lh>K")[0]
    assert bay.fold.board.places[number].turns == {"T1Lh": 1}
    bay.act("swap", shot="T1Lh>K")
    assert bay.fold.board.places[number].turns == {"T1Rh": 1}
    assert bay.fold.board.turns == {"T1Rh": 1}
    assert bay.fold.board.turned == {(1, "T1Rh>K"): "shot"}
    assert bay.fold.current().id == "T1Lh>K"
    bay.shoot()
    assert bay.fold.board.turns == {"T1Rh": 1, "T1Lh": 1}


def test_swap_wants_a_shot_with_a_mirror_image(bay: Any) -> None:
    assert "nothing was taken" in refused(bay, "swap").what
    refused(bay, "swap", shot="GT:along")


def test_retake_sets_the_readings_aside_and_asks_again_before_all_else(bay: Any) -> None:
    bay.finish()
    bay.act("retake", shot="K>T1Rh")
    assert bay.states().count("set aside") == 2
    assert bay.fold.current().id == "K>T1Rh"
    bay.shoot()
    bay.shoot()
    assert bay.fold.current() is None
    refused(bay, "retake")  # no shot is open, and none was named


def test_skip_closes_a_shot_and_go_opens_it_again(bay: Any) -> None:
    bay.act("skip")
    shot = bay.fold.shots()[0]
    assert bay.fold.status(shot) == "skipped"
    assert bay.fold.current().id == "GT:along-turned"
    bay.act("go", shot="GT:along")
    assert bay.fold.current() == shot
    bay.act("skip", shot="K>T1Lh")
    assert bay.fold.current().id != "K>T1Lh"


def test_go_chooses_the_next_shot_and_never_promises_one_that_will_not_be_filled(bay: Any) -> None:
    bay.act("go", shot="K>T1Rh")
    assert bay.fold.current().id == "K>T1Rh"
    bay.shoot()
    bay.shoot()
    assert bay.fold.current().id == "GT:along"
    assert "retake K>T1Rh" in refused(bay, "go", shot="K>T1Rh").do


def test_a_blocked_shot_leaves_the_plan_and_the_words_say_what_that_costs(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2")
    told = bay.act("blocked", shot="D1Li>S1Rr")
    assert "D1Li>S1Rr" not in [shot.id for shot in bay.fold.shots()]
    assert told[-1].words.startswith("D1Li>S1Rr blocked; ")
    told = bay.act("blocked", shot="G:along")
    assert told[-1].words == "G:along blocked"
    one = make_bay()
    told = one.act("blocked", shot="K>T1Lh")
    assert "nothing the layout offers makes up for it: trailer.axle1.squareness" in told[-1].words
    for bay_ in (bay, one):
        bay_.same_as_refolded()


def test_small_losses_add_up_until_a_spare_shot_makes_up_for_them(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2")
    full = {result.key: result.forecast_u for result in forecast(bay)}
    for shot in ("F0L>F2L", "F0L>F2R", "F0R>F2R", "F0R>F2L", "S1Lr>F2L", "S1Lr>F2R"):
        words = bay.act("blocked", shot=shot)[-1].words
    assert "instead" in words
    assert bay.fold.board.added
    assert bay.fold.board.added <= {shot.id for shot in bay.fold.shots()}
    assert max(result.forecast_u / full[result.key] for result in forecast(bay)) < 1.35
    bay.same_as_refolded()


def forecast(bay: Any) -> tuple[Result, ...]:
    fold = bay.fold
    return prove(fold.fresh_solver(), fold.layout, fold.shots(), fold.header.repeats).results


def test_a_turn_made_before_its_shot_was_blocked_is_not_made_again(make_bay: Make, short_layout: Any) -> None:
    bay = make_bay(layout=short_layout, repeats=1)
    for _ in range(4):
        bay.shoot()
    assert bay.fold.current().id == "T1Lh>K"
    bay.act("turned")
    bay.act("blocked")
    shot = bay.fold.current()
    assert (shot.id, shot.turn) == ("T1Lh>T2Lh", ("T1Lh",))
    assert bay.fold.board.turned[1, "T1Lh>T2Lh"] == "person"
    bay.length(bay.truth_m(shot))
    assert bay.fold.board.turns == {"T1Lh": 1}
    assert "no turn is due" in refused(bay, "turned", shot="T1Lh>T2Lh").what
    # the turn of the other side is still to come
    bay.act("blocked", shot="T1Rh>K")
    assert (1, "T1Rh>T2Rh") not in bay.fold.board.turned


# -- turns, rounds, the rest


def test_turned_and_not_turned(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    assert "no turn is due" in refused(bay, "turned").what
    bay.act("turned", shot="T1Lh>K")
    bay.act("not-turned", shot="T1Rh>K")
    assert bay.fold.board.turns == {"T1Lh": 1}
    assert bay.fold.board.turned == {(1, "T1Lh>K"): "person", (1, "T1Rh>K"): "not turned"}
    refused(bay, "not-turned", shot="T1Lh>K")
    bay.finish()
    taken = {shot: bay.fold.board.places[bay.fold.board.accepted(shot)[0]].turns for shot in ("T1Lh>K", "T1Rh>K")}
    assert taken == {"T1Lh>K": {"T1Lh": 1}, "T1Rh>K": {"T1Lh": 1}}


def test_a_target_left_as_it_was_is_one_state_and_the_result_less_certain(make_bay: Make) -> None:
    sure, unsure = make_bay(repeats=1), make_bay(repeats=1)
    for side in ("L", "R"):
        unsure.act("not-turned", shot=f"T1{side}h>K")
    for one in (sure, unsure):
        one.finish()
    u = [next(r.u for r in one.fold.solution().results) for one in (sure, unsure)]
    assert u[0] < 0.85 * u[1]


def test_a_round_opens_all_shots_again_and_keeps_what_was(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.finish()
    first = bay.fold.solution(1).results
    bay.act("moved", words="left spring hanger shifted 3 mm forward")
    bay.act("round", note="after the first move")
    assert bay.fold.board.round == 2
    assert bay.fold.board.moves == ((1, "left spring hanger shifted 3 mm forward"),)
    assert len(bay.fold.open_shots()) == 8
    assert [r.value for r in bay.fold.solution().results] == [None]
    assert bay.fold.solution(1).results == first
    bay.finish()
    # turned once more each: an even number of half turns, another seating
    assert bay.fold.board.turns == {"T1Lh": 2, "T1Rh": 2}
    assert bay.fold.solution(1).results == first
    bay.same_as_refolded()


def test_ticks_and_notes(bay: Any) -> None:
    bay.act("tick", items=["chocks", "play"], note="done by two")
    bay.act("note", words="left rear tyre new")
    assert bay.fold.board.ticks == {"chocks": "done by two", "play": "done by two"}
    assert bay.fold.board.notes == ("left rear tyre new",)
    assert refused(bay, "tick", items=["chocks", "windows"]).found == "'windows'"
    bay.act("tick", items=[item.id for item in PREPARATION])
    assert set(bay.fold.board.ticks) == {item.id for item in PREPARATION}


def test_unknown_acts_and_acts_on_a_closed_job_are_refused(bay: Any) -> None:
    assert "undo" in refused(bay, "redo").allowed
    bay.run.close_job()
    for name in ACTS:
        assert "the job is closed" in refused(bay, name, items=[], words="").what
