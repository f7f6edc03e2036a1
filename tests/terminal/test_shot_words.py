from __future__ import annotations

from dataclasses import replace
from typing import Any

from axledger.drawing.figures import Units
from axledger.job.fold import Happening
from axledger.job.state import JobState
from axledger.terminal.shot_words import expected_words, shot_lines, taken_lines, target_large, tilt_words

MM = Units()


def test_a_turn_comes_before_everything_else(finished: JobState) -> None:
    view = next(view for view in finished.shots if view.shot.turn)
    first = shot_lines(replace(view, turned=None), 60)[0]
    assert first[0].startswith(f"TURN {view.shot.turn[0]} half a turn, arrow down, first")
    assert "reverse" in first[1]
    assert shot_lines(replace(view, turned="person"), 60)[0][0] == f"{view.shot.turn[0]}: turned"
    assert shot_lines(replace(view, turned="not turned"), 60)[0][0] == f"{view.shot.turn[0]}: left as they are"


def test_stations_are_named_from_a_to_b(finished: JobState) -> None:
    view = next(view for view in finished.shots if view.shot.id == "F0L>S1Rf")
    lines = [line for line, _ in shot_lines(view, 60)]
    assert lines[:2] == ["A F0 left, rail target", "B steer axle right, straightedge, front end"]
    assert target_large(view) == "F0L>S1Rf"
    assert target_large(None) == "DONE"


def test_a_fold_and_a_tilt_are_said(open_job: Any, finished: JobState) -> None:
    folds = [view for view in open_job("tractor-6x4", repeats=1).state().shots if view.shot.fold]
    assert any("FOLD D1Lh out of the way" in line for line, _ in shot_lines(folds[0], 60))
    tilt = next(view for view in finished.shots if view.shot.kind == "tilt")
    assert any(tilt_words(tilt.shot.tilt) in line for line, _ in shot_lines(tilt, 70))
    assert target_large(tilt) == tilt.shot.start


def test_words_never_exceed_the_width(finished: JobState) -> None:
    for view in finished.shots:
        assert all(len(line) <= 40 for line, _ in shot_lines(view, 40))


def test_what_was_taken_is_told_by_shape_and_word(open_job: Any) -> None:
    job = open_job(repeats=1)
    assert taken_lines(job.state(), None, MM).heading == "nothing taken yet"
    for _ in range(6):
        job.shoot()
    taken = taken_lines(job.state(), None, MM)
    assert not taken.alarm
    assert taken.heading == "accepted for F0L>S1Lf"
    assert taken.unit == "mm"
    job.shoot(off_m=0.5)
    held = taken_lines(job.state(), None, MM)
    assert held.alarm
    assert held.value.startswith("? ")
    assert held.heading == "HELD for F0L>D1Lh, not used"
    assert "longer than predicted" in held.why


def test_a_refusal_shows_no_value(finished: JobState) -> None:
    told = Happening("refused", "no measurement: too little light")
    taken = taken_lines(finished, told, MM)
    assert (taken.value, taken.heading, taken.alarm) == ("---", "REFUSED", True)
    assert taken.small().heading.startswith("---")


def test_a_lost_link_is_told(open_job: Any) -> None:
    job = open_job(repeats=1)
    told = job.link("meter", "lost", why="port gone")
    taken = taken_lines(job.state(), told[-1], MM)
    assert taken.heading == "LINK LOST"
    assert "port gone" in taken.why


def test_what_is_expected_is_told_with_its_reach(open_job: Any) -> None:
    job = open_job(repeats=1)
    for _ in range(5):
        job.shoot()
    view = job.state().current
    assert view.predicted is not None
    words = expected_words(view, MM)
    assert words.startswith(f", about {view.predicted.value_si * 1000:.0f} ± ")
    assert words.endswith(" mm")
    assert expected_words(view, Units(length="in")).endswith(" in")
    assert expected_words(replace(view, predicted=None), MM) == ""
