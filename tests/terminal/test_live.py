from __future__ import annotations

import io
from typing import Any

from axledger.drawing.figures import Units
from axledger.job.fold import Happening
from axledger.job.state import JobState
from axledger.terminal.live import LiveScreen, PlainLog, changed_key, live_view


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_pipe_gets_one_clear_line_for_every_happening(open_job: Any) -> None:
    stream = io.StringIO()
    job = open_job(repeats=1)
    with live_view(stream, unicode=True, colour=True) as log:
        assert isinstance(log, PlainLog)
        log.update(job.state())
        for off in (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5):
            told = job.shoot(off_m=off)
            log.update(job.state(), told)
        told = job.send("meter", b"err 12\r\n")
        log.update(job.state(), told)
        log.say("two\nlines")
    lines = stream.getvalue().splitlines()
    assert lines[0].startswith("next: 1/34 G:along, floor beside the vehicle, along the vehicle")
    assert sum(line.startswith("accepted: reading ") for line in lines) == 6
    held = next(line for line in lines if line.startswith("held: reading 7, "))
    assert " for F0L>D1Lh: " in held
    assert any(line.startswith("refused: no measurement") for line in lines)
    assert "lines" in lines
    assert any(line.startswith("total toe") for line in lines)
    assert lines[-1] == "received 8 = accepted 6 + held 1 + refused 1"
    assert not set(stream.getvalue()) & {"\x1b", "\a", "\r"}


def test_the_log_says_turns_folds_and_the_end(open_job: Any) -> None:
    stream = io.StringIO()
    job = open_job("tractor-6x4", repeats=1)
    with PlainLog(stream, unicode=False, units=Units(length="in")) as log:
        for wanted in ("turn", "fold"):
            job.act("go", shot=next(shot for shot in job.fold.shots() if getattr(shot, wanted)).id)
            log.update(job.state())
        for shot in job.fold.shots():
            job.act("skip", shot=shot.id)
        log.update(job.state(), [Happening("act", "skipped \x1b[2J")])
    text = stream.getvalue()
    assert "turn: D1Lh half a turn, arrow down, first" in text
    assert "fold: D1Lh out of the way" in text
    assert "next: nothing, every shot is taken or skipped" in text
    assert text.isascii()
    assert "\x1b" not in text


def test_bells_are_rung_where_they_are_asked_for(open_job: Any) -> None:
    stream = io.StringIO()
    job = open_job(repeats=1)
    with PlainLog(stream, bell=True) as log:
        told = job.shoot()
        log.update(job.state(), told)
    assert stream.getvalue().count("\a") == 1


def test_a_terminal_gets_the_screen_and_one_bell(open_job: Any, monkeypatch: Any) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "24")
    stream = _Terminal()
    job = open_job(repeats=1)
    with live_view(stream, unicode=True, colour=False) as screen:
        assert isinstance(screen, LiveScreen)
        screen.update(job.state())
        told = job.shoot()
        screen.update(job.state(), told)
        screen.say("where to now?")
    shown = stream.getvalue()
    assert "accepted for G:along" in shown
    assert "where to now?" in shown
    assert shown.count("received 1 = accepted 1") >= 2  # drawn again for the message
    assert shown.count("\a") == 1
    assert "\x1b[?1049h" not in shown  # the alternate screen stays off: what was shown stays in the scroll-back
    assert "\x1b[31m" not in shown
    assert "38;2" not in shown


def test_the_first_result_that_changed_its_verdict_is_named(open_job: Any) -> None:
    job = open_job(repeats=1)
    before: JobState = job.state()
    assert changed_key(None, before) is None
    while (changed := changed_key(before, job.state())) is None:
        job.shoot()
    verdicts = {result.key: result.verdict for result in before.results}
    now = {result.key: result.verdict for result in job.state().results}
    assert verdicts[changed] is not now[changed]
    assert changed_key(job.state(), job.state()) is None


def _slip(job: Any) -> list[Happening]:
    """Work up to the last look at a target and accept one that is 60 mm too long; return what became of it."""
    while (shot := job.fold.current()).id != "F0R>D1Rh":
        for told in job.shoot():
            if told.kind == "held":
                job.act("accept", reading=told.reading)
    told = job.shoot(off_m=0.06)
    accepted: list[Happening] = [*told, *job.act("accept")]
    assert shot is not None
    return accepted


def test_the_log_tells_a_slip_once_and_when_it_is_gone(open_job: Any) -> None:
    stream = io.StringIO()
    job = open_job(repeats=1)
    with PlainLog(stream, bell=True) as log:
        log.update(job.state())
        told = _slip(job)
        log.update(job.state(), told)
        log.update(job.state())
        written = stream.getvalue()
        assert written.count("SLIP? F0R>D1Rh is 6") == 1
        assert written.count("\a") <= 2
        job.act("retake", shot="F0R>D1Rh")
        log.update(job.state())
        job.shoot()
        log.update(job.state())
        assert "SLIP?" not in stream.getvalue()[len(written) :]
        job.finish()
        log.update(job.state())
    text = stream.getvalue()
    assert text.count("no slip is suspected any more") == 1
    last = text.split("next: nothing, every shot is taken or skipped")[1]
    assert "WHAT TO DO" in last or "WHAT TO MEASURE NEXT" in last


def test_a_message_does_not_hide_a_new_slip(open_job: Any, monkeypatch: Any) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "24")
    stream = _Terminal()
    job = open_job(repeats=1)
    with live_view(stream, unicode=True, colour=False) as screen:
        screen.update(job.state())
        screen.say("ticked: chocks")
        told = _slip(job)
        before = len(stream.getvalue())
        screen.update(job.state(), told)
    shown = stream.getvalue()[before:]
    assert "SLIP? y: shoot F0R>D1Rh again" in shown
    assert "ticked: chocks" not in shown
    assert stream.getvalue().count("\a") == 2


def test_a_long_page_is_turned_by_asking_again(open_job: Any, monkeypatch: Any) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("LINES", "10")
    stream = _Terminal()
    lines = [f"line {number} ± {'x' * 20} {'y' * 20}" for number in range(8)]  # two lines each where 40 columns end
    with live_view(stream, unicode=False, colour=False, bell=False) as screen:
        screen.update(open_job(repeats=1).state())
        pages = list[str]()
        for _ in range(3):
            before = len(stream.getvalue())
            screen.page(lines)
            pages.append(stream.getvalue()[before:])
    assert "line 0 +/- " in pages[0]
    assert "line 7" not in pages[0]
    assert "page 1 of 2: the same key again" in pages[0]
    assert "line 7" in pages[1]
    assert "line 0" in pages[2]
    assert all("y" * 20 in page for page in pages)
