from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from rich.cells import cell_len

from axledger.job.moves import MovePlan
from axledger.job.next_steps import NextSteps
from axledger.job.state import JobState
from axledger.terminal.next_lines import end_lines, expected_words, next_lines, slip_line, slip_lines


@pytest.fixture(scope="module")
def slipped(open_job: Any) -> NextSteps:
    """A whole tractor in which one distance is 60 mm too long and was accepted all the same."""
    job = open_job(repeats=1)
    while (shot := job.fold.current()) is not None:
        for told in job.shoot(off_m=0.06 if shot.id == "F0R>D1Rh" else 0.0):
            if told.kind == "held":
                job.act("accept", reading=told.reading)
    steps = job.state().steps
    assert isinstance(steps, NextSteps)
    return steps


@pytest.fixture
def clean(finished: JobState) -> NextSteps:
    """The steps of the same tractor without that slip: a toe to be set, and advice."""
    assert finished.steps is not None
    return finished.steps


def test_a_slip_is_named_with_its_key_and_cure_before_the_line_may_end(slipped: NextSteps) -> None:
    first = slipped.suspected[0]
    assert "F0R>D1Rh" in first.told
    line = slip_line(slipped.suspected)
    assert line.startswith(f"SLIP? y: {first.cure.words}; ")
    assert line.endswith(first.told)
    assert slip_line([first, first]).startswith("2 SLIPS? y: ")


def test_only_the_first_slip_has_the_key(slipped: NextSteps) -> None:
    first = slipped.suspected[0]
    text = "\n".join(slip_lines([first, replace(first, words="another thing", rivals=())], 200))
    assert text.count("y does it") == 1
    assert text.count("to settle it: ") == 2
    assert "SLIP? another thing" in text
    assert slip_lines([], 80) == []


def test_while_a_slip_stands_nothing_else_is_advised(slipped: NextSteps) -> None:
    lines = next_lines(slipped, width=80)
    assert "What to measure and what to move is said once no slip stands." in lines
    assert not any("WHAT TO" in line for line in lines)
    assert end_lines(slipped, 47) == ["All shots done. c closes the job."]


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("unicode", [True, False])
def test_all_lines_fit_and_say_what_to_move_and_to_measure(clean: NextSteps, width: int, unicode: bool) -> None:
    lines = next_lines(clean, width=width, unicode=unicode)
    assert max(cell_len(line) for line in lines) <= width
    assert unicode or all(line.isascii() for line in lines)
    text = " ".join(line.strip() for line in lines)
    for number, move in enumerate(clean.moves.moves, start=1):
        assert f"{number}. {move.words}" in text
    assert "Chock the wheels first" in text
    assert "WHAT TO MEASURE NEXT (`:more 1` asks for the first) 1. " in text
    for words in clean.settings:
        assert words in text


def test_a_move_that_was_made_is_marked_and_the_next_round_is_asked_for(open_job: Any) -> None:
    job = open_job(repeats=1)
    job.finish()
    steps = job.state().steps
    (move,) = steps.moves.moves
    shown = " ".join(line.strip() for line in end_lines(steps, 60))
    assert shown.startswith(f"TO TURN OR SHIM: 1, c closes the job 1. {move.words} i shows all. Done: `:moved 1`")
    job.act("moved", **move.arguments)
    told = job.state().steps
    assert f"1. {move.words}, DONE" in " ".join(line.strip() for line in next_lines(told, width=80))
    assert end_lines(told, 80)[1] == "The moves are told: `:round` opens the round that proves them."


def test_the_end_says_the_advice_where_nothing_is_to_be_moved(clean: NextSteps) -> None:
    first = end_lines(replace(clean, moves=MovePlan()), 200)
    assert first[1] == f"More would help, i shows all. `:more 1` is {clean.advice[0].words}"
    none = NextSteps(findings=clean.findings)
    assert end_lines(none, 80)[1] == "A retake or a new round is open still."
    assert next_lines(none) == ()
    cannot = replace(none, moves=MovePlan(cannot=("axle 1: squareness stays at 0.3 deg",)))
    assert end_lines(cannot, 80)[1] == "Out of reach, i shows all: axle 1: squareness stays at 0.3 deg"
    assert next_lines(cannot)[0] == "the declared adjusters cannot do it: axle 1: squareness stays at 0.3 deg"


def test_what_is_expected_is_said_with_its_verdict(clean: NextSteps) -> None:
    toe = next(one for one in clean.moves.predicted if one.key.endswith("toe.total"))
    words = expected_words(toe)
    assert words.startswith("then expected: steer axle: total toe ")
    assert words.endswith(f" deg, {toe.verdict.value}")
    assert " becomes " in words
    assert "±" in words
