"""Where readings go by themselves: filled in, held, or unassigned; and when repeats agree."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import pytest

from axledger.contract.quantity import Quantity
from axledger.job.placing import instrument_for, missing_repeats, repeatability

Make = Callable[..., Any]


def test_repeats_that_agree_finish_the_shot_and_a_third_decides_where_they_do_not(bay: Any) -> None:
    """Two readings may differ by 2.8 sd and three by 3.3 sd: ISO 5725-6:1994, 5.2 (from memory); sd 0.7 mm."""
    bay.level()
    shot, right = bay.fold.current(), bay.truth_m(bay.fold.current())
    sd = repeatability(bay.fold, shot)
    assert sd == pytest.approx((0.0007**2 + 0.0001**2 / 12) ** 0.5)
    assert missing_repeats(bay.fold, shot) == 2
    bay.length(right)
    assert missing_repeats(bay.fold, shot) == 1
    bay.length(right + 0.0026)
    assert missing_repeats(bay.fold, shot) == 1
    bay.length(right + 0.0001)
    assert bay.states()[-3:] == ["accepted", "held", "accepted"]
    assert bay.fold.board.places[10].why == "does not agree with the other repeats of this shot"
    assert bay.fold.current().id == "K>T1Rh"
    bay.length(bay.truth_m(bay.fold.current()))
    bay.length(bay.truth_m(bay.fold.current()) + 0.0018)
    assert bay.fold.current().id == "T1Lh>K"
    bay.same_as_refolded()


def test_three_that_agree_within_their_own_limit_all_stand(bay: Any) -> None:
    bay.level()
    right = bay.truth_m(bay.fold.current())
    for off in (0.0, 0.0021, 0.0010):
        bay.length(right + off)
    assert bay.states()[-3:] == ["accepted"] * 3
    assert bay.fold.current().id == "K>T1Rh"


def test_a_shot_that_never_agrees_stops_asking_after_five(bay: Any) -> None:
    bay.level()
    shot, right = bay.fold.current(), bay.truth_m(bay.fold.current())
    offs = itertools.cycle((0.0, 0.0025, 0.0050, 0.0075, 0.0100))
    for _ in range(20):
        if bay.fold.current() != shot:
            break
        bay.length(right + next(offs))
        if bay.states()[-1] == "held":
            bay.act("accept")
    assert missing_repeats(bay.fold, shot) == 0
    assert len(bay.fold.board.accepted(shot.id)) <= 5
    assert bay.fold.current() != shot


def test_what_a_person_accepted_is_not_pushed_out_again(bay: Any) -> None:
    bay.level()
    right = bay.truth_m(bay.fold.current())
    bay.length(right)
    bay.length(right + 0.0024)
    bay.length(right + 0.0001)
    assert bay.states()[-3:] == ["accepted", "held", "accepted"]
    bay.act("accept", reading=len(bay.fold.readings) - 1, reason="aimed again, the same")
    assert bay.states()[-3:] == ["accepted"] * 3


@pytest.mark.parametrize(
    ("off_m", "words"),
    [
        (0.4, "400 mm longer than predicted"),
        (-0.4, "something in the beam?"),
        (0.4, "beam past the target?"),
        (0.22, "right target?"),
    ],
)
def test_a_length_far_from_its_prediction_is_held_and_says_how_far(bay: Any, off_m: float, words: str) -> None:
    bay.level()
    shot = bay.fold.current()
    bay.length(8.1104 + off_m)  # what the layout alone predicts, sqrt(8.000^2 + 1.332^2) = 8.1101 m
    place = bay.fold.board.places[9]
    assert (place.state, place.shot) == ("held", shot.id)
    assert words in place.why
    assert bay.fold.current() == shot
    bay.same_as_refolded()


def test_an_inclination_turned_the_wrong_way_is_held(bay: Any) -> None:
    bay.tilt(1.2)
    bay.tilt(1.2)
    bay.tilt(1.2)  # the instrument was to be turned end for end
    place = bay.fold.board.places[3]
    assert (place.state, place.shot) == ("held", "GT:along-turned")
    assert "turned the wrong way?" in place.why
    bay.tilt(-1.2)
    assert bay.states()[-1] == "accepted"


def test_the_second_look_is_predicted_to_millimetres(bay: Any) -> None:
    """From the first look and the hub's placement, good to 0.5 mm (invented): 10 mm are held, 2 mm are not."""
    bay.level()
    for _ in range(4):
        bay.shoot()
    assert bay.fold.current().id == "T1Lh>K"
    bay.shoot(off_m=0.010)
    bay.shoot(off_m=0.002)
    assert bay.states()[-2:] == ["held", "accepted"]


def test_a_weak_return_is_held_and_names_figure_and_limit(make_bay: Make) -> None:
    bay = make_bay(meter="millimetre-quality", repeats=1)
    bay.level()
    bay.send(b"D:8110mm,2410\r\n", after_s=10)
    bay.send(b"D:8110mm,0093\r\n", after_s=10)
    assert bay.states()[-2:] == ["held", "accepted"]
    assert bay.fold.board.places[5].why == "weak return: quality 2410, limit 1000"


def test_a_wrong_quantity_stands_unassigned_and_the_shot_waits(bay: Any) -> None:
    bay.length(8.11)
    assert bay.fold.board.places[1].why == "the open shot wants an inclination"
    bay.level()
    bay.tilt(0.3)
    assert bay.fold.board.places[10].why == "the open shot wants a length"
    assert [bay.fold.board.places[n].state for n in (1, 10)] == ["unassigned", "unassigned"]


def test_with_no_shot_open_a_reading_is_stored_unassigned_and_said(bay: Any) -> None:
    bay.finish()
    told = bay.length(8.11)
    assert [(one.kind, one.words, one.reading) for one in told] == [("noted", "no shot is open", 17)]
    assert bay.fold.board.places[17].state == "unassigned"
    bay.same_as_refolded()


def test_a_shot_is_filled_only_by_the_instrument_whose_record_it_is_solved_with(make_bay: Make) -> None:
    """The tilt of a meter that has one must not be taken for the inclinometer's, nor mixed with it."""
    bay = make_bay(meter="metre-tilt")
    bay.send(numbered_tilt(), after_s=10)
    bay.tilt(0.5)
    assert bay.states() == ["unassigned", "accepted"]
    assert bay.fold.board.places[1].why == "the open shot is for tilt-b"
    assert Quantity.INCLINATION in bay.fold.readings[1].values


def numbered_tilt() -> bytes:
    from axledger_simulators.line_form import form_named

    return form_named("metre-tilt").measured(length_m=8.110, tilt_deg=0.5, counter=1)


def test_the_first_accepted_reading_of_a_shot_implies_its_turn_and_a_held_one_does_not(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.level()
    bay.shoot()
    bay.shoot()
    bay.shoot(off_m=0.4)
    assert bay.states()[-1] == "held"
    assert bay.fold.board.turned == {}
    assert bay.fold.board.places[7].turns == {"T1Lh": 1}
    bay.shoot()
    assert bay.fold.board.turned == {(1, "T1Lh>K"): "shot"}


def at_the_plates(make_bay: Make) -> Any:
    bay = make_bay(layout="tractor-4x2", parts=frozenset({"sweep"}))
    bay.work(lambda shot: not shot.tilt.startswith("plate-"))
    return bay


def test_a_turn_too_small_for_caster_is_held_with_the_cure(make_bay: Make) -> None:
    bay = at_the_plates(make_bay)
    shot = bay.fold.current()
    assert (shot.id, instrument_for(bay.fold, shot)) == ("S1Lh:plate-out", "plates-c")
    bay.plate(5.2)
    assert bay.states()[-1] == "held"
    why = bay.fold.board.places[len(bay.fold.readings)].why
    assert why.startswith("turned only 5.2 deg: caster wants 8 deg or more each way")
    bay.plate(-20.0)
    assert "without a sign" in bay.fold.board.places[len(bay.fold.readings)].why
    bay.shoot()
    assert bay.states()[-1] == "accepted"
    bay.same_as_refolded()


def test_no_inclinometer_fills_what_is_read_off_a_plate(make_bay: Make) -> None:
    bay = at_the_plates(make_bay)
    bay.tilt(20.0)
    assert bay.states()[-1] == "unassigned"
    assert bay.fold.board.places[len(bay.fold.readings)].why == "the open shot is for plates-c"
    assert repeatability(bay.fold, bay.fold.current()) == pytest.approx(math.radians(math.hypot(0.1, 0.1 / 12**0.5)))


def test_a_sweep_worked_through_states_caster_and_kingpin_inclination(make_bay: Make) -> None:
    bay = at_the_plates(make_bay)
    bay.finish()
    truth = bay.vehicle.truth()
    results = {result.key: result for result in bay.fold.solution().results}
    for side in ("left", "right"):
        for quantity in ("caster", "kpi"):
            found = results[f"tractor.steer.{quantity}.{side}"]
            assert abs(found.value - truth[found.key]) < 5 * found.u
    bay.same_as_refolded()
