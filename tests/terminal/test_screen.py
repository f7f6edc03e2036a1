from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from axledger.drawing.figures import Units
from axledger.job.state import JobState
from axledger.terminal.big_letters import big
from axledger.terminal.screen import render


def _check(state: JobState, width: int = 80, height: int = 24, **more: Any) -> str:
    plain = render(state, width=width, height=height, **more).plain
    lines = plain.split("\n")
    assert len(lines) <= height
    assert all(cell_len(line) <= width for line in lines)
    return plain


def _states(job: Any) -> Iterator[tuple[JobState, Any]]:
    """A job at the moments that look different: fresh, under way, held, refused, turn due, fold due, link lost."""
    yield job.state(), None
    for _ in range(6):
        job.shoot()
    told = job.shoot()
    yield job.state(), told[-1]
    told = job.shoot(off_m=0.5)
    yield job.state(), told[-1]
    told = job.send("meter", b"err 12\r\n")
    yield job.state(), told[-1]
    for wanted in ("turn", "fold"):
        shot = next((shot for shot in job.fold.shots() if getattr(shot, wanted)), None)
        if shot is not None:
            job.act("go" if job.fold.wanted_more(shot) else "retake", shot=shot.id)
            yield job.state(), None
    told = job.link("meter", "lost", why="the adapter was pulled out of its socket while a shot was under way")
    yield job.state(), told[-1]


def test_the_screen_fits_for_every_shipped_layout_at_every_moment(open_job: Any, layout_name: str) -> None:
    job = open_job(layout_name, repeats=1)
    for state, told in _states(job):
        for unicode in (True, False):
            plain = _check(state, told=told, unicode=unicode)
            assert unicode or plain.isascii()
            assert "received" in plain.split("\n")[-1]
        for block in {".".join(result.key.split(".")[:2]) for result in state.results}:
            _check(state, focus=block, message="x" * 200)
        _check(state, width=120, height=50)
        _check(state, width=60, height=16)


def test_the_next_shot_and_the_last_value_are_written_large(open_job: Any) -> None:
    job = open_job(repeats=1)
    for _ in range(5):
        job.shoot()
    rows = _check(job.state()).split("\n")
    value = f"{job.state().last.value_si * 1000:.0f}"
    for row, name, digits in zip(rows[2:7], big("F0L>S1Lf"), big(value), strict=True):
        assert row.startswith(name.rstrip())
        assert digits.rstrip() in row[40:]


def test_the_turn_and_the_decisive_shot_are_on_the_screen(open_job: Any) -> None:
    job = open_job(repeats=1)
    job.act("go", shot="D1Lh>S1Lh")
    plain = _check(job.state())
    assert "TURN D1Lh half a turn, arrow down, first" in plain
    assert "not yet: after " in plain


def test_all_results_of_an_axle_are_on_one_page(finished: JobState) -> None:
    plain = _check(finished, focus="tractor.steer")
    for words in ("total toe", "toe left", "toe right", "toe at 1016 mm", "steering", "squareness", "lateral offset"):
        assert f"\n{words}" in plain
    assert "EXAMPLE LIMITS" in plain


def test_a_finished_and_a_closed_job_say_so(finished: JobState) -> None:
    assert "ALL SHOTS DONE" in _check(finished)
    closed = _check(replace(finished, closed=True))
    assert "JOB CLOSED" in closed
    assert "CLOSED" in closed.split("\n")[0]


def test_without_colour_there_is_no_control_code(finished: JobState) -> None:
    for colour in (False, True):
        stream = io.StringIO()
        console = Console(file=stream, width=80, force_terminal=True, color_system="truecolor")
        console.print(render(finished, colour=colour))
        assert ("\x1b" in stream.getvalue()) is colour
        assert max(len(line) for line in stream.getvalue().splitlines()) <= (80 if not colour else 400)


def test_text_from_devices_and_people_is_never_a_control_code_or_markup(finished: JobState) -> None:
    evil = "\x1b[2J[red]\u202e\nX"
    links = tuple(replace(link, instrument=evil) for link in finished.links)
    readings = (*finished.readings[:-1], replace(finished.readings[-1], why=evil, state="held"))
    state = replace(finished, vehicle={"unit": evil}, links=links, readings=readings, job=evil)
    plain = _check(state, message=evil)
    assert not set(plain) & {"\x1b", "\u202e"}
    assert "[red]" in plain


def test_inches_are_shown_on_request(finished: JobState) -> None:
    assert " in " in _check(finished, focus="tractor.drive", units=Units(length="in"))


@pytest.mark.parametrize(("width", "height"), [(1, 1), (20, 5), (300, 100)])
def test_any_window_gets_a_screen_that_fits(finished: JobState, width: int, height: int) -> None:
    _check(finished, width=width, height=height)


def test_a_slip_stands_under_the_next_shot_and_its_key_in_the_last_line_but_one(open_job: Any) -> None:
    job = open_job(repeats=1)
    while job.fold.current().id != "F0R>D1Rh":
        job.shoot()
    told = [*job.shoot(off_m=0.06), *job.act("accept")]
    state = job.state()
    first = state.steps.suspected[0]
    plain = _check(state, told=told[-1])
    assert "SLIP? F0R>D1Rh is 6" in plain
    assert plain.split("\n")[-2].startswith(f"SLIP? y: {first.cure.words}; ")
    assert "NEXT 3" in plain
    for width, height in ((120, 50), (60, 16), (20, 5)):
        _check(state, width=width, height=height)
    held = replace(state, readings=(*state.readings[:-1], replace(state.readings[-1], state="held", why="far off")))
    assert "SLIP? y" not in _check(held)
    assert "held, not used: shoot again" in _check(held)
    assert "SLIP?" not in _check(replace(state, closed=True))
    assert "SLIP? y" not in _check(state, message="ticked: chocks")


def test_at_the_end_the_first_move_is_on_the_screen(finished: JobState) -> None:
    assert finished.steps is not None
    move = finished.steps.moves.moves[0]
    plain = _check(finished)
    assert "TO TURN OR SHIM: 1, c closes the job" in plain
    assert f"1. {move.words[:30]}" in plain
    assert "`:moved 1`" in plain
    assert "All shots done. c closes the job." in _check(replace(finished, steps=None))
