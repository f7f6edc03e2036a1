"""The desk: what a person asks for, through the real run with typed instruments."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from axledger.cli.desk import Desk
from axledger.cli.job_screen import View, view_for
from axledger.cli.typed_input import TypedLines, TypedReadings
from axledger.contract.errors import StorageCause
from axledger.contract.transport import SystemClock
from axledger.job.run import JobRun
from axledger.job.wiring import sources_of, supervisor_maker
from axledger.ledger import Ledger
from axledger.ledger.store import words_for_trouble
from axledger.terminal.input import LineInput
from axledger_drivers.registry import decoder_for

TYPED = ("--profile", "typed", "--repeatability", "1 mm", "--tilt-repeatability", "0.02 deg")
NEW = ("job", "new", "--vehicle", "semitrailer-1axle", "--limits", "example-trailer", "--name", "first")
LEVEL = ("0.5 deg", "-0.5 deg", "0.3 deg", "-0.3 deg")
# The invented example's pin and targets: 8 m along, 1.332 m to each side; hypot(8.0, 1.332) = 8.1101 m, by hand.
# Metres and millimetres in turn, since the same bytes at once might be a device that sends again.
SQUARE = ("8.110 m", "8110 mm", "turned", "8.110 m", "turned", "8110 mm")
# By hand: left 20 mm longer than right over 2 x 1.332 m is an axle skew by about 0.43 degrees.
SKEW = ("8.120 m", "8.100 m", "turned", "8.120 m", "turned", "8.100 m")
# The last shot, 8.110 m, read in feet and taken for metres: 8.110 / 0.3048 = 26.608, by hand.
IN_FEET = (*LEVEL, *SQUARE[:-1], "26.608 m", "accept")


@pytest.fixture
def typed_job(done: Callable[..., str]) -> None:
    """Open a job with one typed instrument for everything."""
    done("enrol", "tape", *TYPED, "--address", "typed:")
    done(*NEW, "--repeats", "1")


def acts(home: Path) -> list[dict[str, Any]]:
    with Ledger.read(home) as ledger:
        return [dict(entry.body) for entry in ledger.entries(kinds={"act"})]


def act_names(home: Path) -> list[str]:
    return [str(act["act"]) for act in acts(home)]


class Place:
    """A desk at which lines are typed, with a log as its view. ``asks``: as with the keys of a terminal."""

    def __init__(self, ledger: Ledger, *, asks: bool) -> None:
        clock = SystemClock()
        self.feed = TypedLines()
        self.shown = io.StringIO()
        self.view: View = view_for(self.shown, colour=False, unicode=True)
        self.run = JobRun(
            ledger, "first", clock=clock, make_decoder=decoder_for,
            make_supervisor=supervisor_maker(clock, {"typed:": self.feed}), person="Ada",
        )  # fmt: skip
        self.view.watch(self.run.fold, self.run.start(sources_of(self.run.fold, [], {})))
        self.readings = TypedReadings(self.run, {"typed:": self.feed}, self.view.say)
        self.desk = Desk(self.run, self.view, asks=asks)
        self.left = False

    def types(self, *lines: str) -> str:
        """Type lines; return what was shown for them."""
        before = len(self.shown.getvalue())
        with LineInput(io.StringIO("\n".join(lines)), self.readings.take) as wishes:
            while not (self.left or (wishes.ended and not self.readings.wait())):
                self.desk.pump()
                if not self.readings.wait():
                    self.left = self.desk.serve(wishes)
        return self.shown.getvalue()[before:]

    def end(self) -> None:
        self.feed.end()
        self.run.stop()


@pytest.fixture
def place(home: Path, typed_job: None) -> Iterator[Callable[..., Place]]:
    """Sit down at the desk of the typed job."""
    with Ledger.open(home, create=False) as ledger:
        taken = list[Place]()

        def sit(*, asks: bool) -> Place:
            taken.append(Place(ledger, asks=asks))
            return taken[-1]

        yield sit
        for one in taken:
            one.end()


def test_the_cure_of_a_slip_is_asked_for_twice_then_done_and_the_slip_is_gone(place: Callable[..., Place]) -> None:
    desk = place(asks=True)
    told = desk.types(*IN_FEET)
    cure = "set the meter to metres and shoot T1Rh>K again"
    assert "SLIP? T1Rh>K read in feet, not metres" in told
    assert f"to settle it: {cure} (y does it)" in told
    assert desk.types("y").strip() == f"{cure}? y again within 5 s: yes"
    assert desk.run.fold.current() is None
    told = desk.types("y")
    assert "T1Rh>K will be taken again" in told
    assert "no slip is suspected any more" in told
    told = desk.types("8.110 m")
    assert "accepted: reading 9" in told
    assert "SLIP?" not in told
    assert "no slip is suspected: found readings that agree" in desk.types("y")


@pytest.mark.usefixtures("typed_job")
def test_in_a_pipe_a_cure_is_done_at_once_and_what_is_next_stands_at_the_end(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    typed_in(*IN_FEET)
    out = done("job", "run")
    assert out.count("SLIP? T1Rh>K read in feet") == 2  # when it was found, and at the end
    shown = done("job", "show")
    assert "SLIP? T1Rh>K read in feet, not metres" in shown
    (finding,) = done_json("job", "show")["next"]["findings"]
    assert (finding["slip"], finding["shots"]) == ("unit", ["T1Rh>K"])
    assert finding["cure"]["act"] == "retake"
    typed_in("cure", "8.110 m")
    out = done("job", "run")
    assert "SLIP? " in out.split("T1Rh>K will be taken again")[0]
    assert "SLIP? " not in out.split("T1Rh>K will be taken again")[1]
    assert act_names(home)[-1] == "retake"
    assert done_json("job", "show")["next"]["findings"] == []


@pytest.mark.usefixtures("typed_job")
def test_moves_are_told_by_their_number_and_open_a_shorter_round(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    typed_in(*LEVEL, *SKEW, "advice", "moved 1 2,5 mm", "moved 1", "moved 7")
    out = done("job", "run", "--prepared")
    assert "WHAT TO DO (`:moved 1` once it is done" in out
    assert "move 1 is told already" in out
    assert "there is no advised move number 7: found 1 proposed" in out
    (move,) = done_json("job", "show")["next"]["moves"]
    assert move["made"] is True
    assert f"1. {move['words']}, DONE" in " ".join(line.strip() for line in done("job", "show").splitlines())
    act = acts(home)[-1]
    assert (act["act"], act["adjuster"], act["end"]) == ("moved", move["adjuster"], move["end"])
    assert act["amount_mm"] == pytest.approx(2.5 if move["signed_mm"] > 0 else -2.5)
    typed_in("undo", "moved all", "moved all", "round")
    out = done("job", "run")
    assert "no advised move is left to be told" in out
    assert acts(home)[-2]["amount_mm"] == move["signed_mm"]
    told = done_json("job", "show")
    assert told["round"] == 2
    assert 0 < len(told["open"]) < 8
    typed_in("round full")
    done("job", "run")
    assert len(done_json("job", "show")["open"]) == 8


@pytest.mark.usefixtures("typed_job")
def test_more_is_asked_for_by_number_or_by_shot(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    # By hand: 4 mm over 2 x 1.332 m is 0.086 degrees, just inside the invented limit of 0.091: not to be decided.
    close = [line.replace("8.120", "8.112").replace("8.100", "8.108") for line in SKEW]
    typed_in(*LEVEL, *close, "more 1", "more 99")
    out = done("job", "run")
    assert "there is no piece of advice number 99" in out
    told = done_json("job", "show")
    assert len(told["open"]) >= 1
    assert act_names(home)[-1] == "more"
    typed_in("undo", "more K>T1Lh turn T1Lh x2", "more 1", "more K>Q9")
    out = done("job", "run")
    assert "T1Lh turned half a turn first" in out
    assert "no shot is called 'K>Q9'" in out


def test_a_move_is_not_asked_for_while_a_slip_stands(place: Callable[..., Place]) -> None:
    desk = place(asks=False)
    told = desk.types(*IN_FEET, "moved all", "more 1")
    assert told.count("settle the suspected slip first") == 2


def test_help_and_advice_are_pages(place: Callable[..., Place]) -> None:
    desk = place(asks=False)
    told = desk.types("help")
    assert "y: do the step proposed for the slip that was found" in told
    assert "measure first: axle: squareness is not determined yet" in desk.types("i")


def test_closing_is_asked_for_twice_and_leaves(place: Callable[..., Place]) -> None:
    desk = place(asks=True)
    assert "close for good, 8 shots open? c again within 5 s: yes" in desk.types("c")
    desk.types("0.5 deg")  # the answer counts for what was asked, and that is not so any more
    assert "close for good, 7 shots open? c again within 5 s: yes" in desk.types("c")
    desk.types("i")  # something else in between: the question is forgotten
    assert "c again within 5 s: yes" in desk.types("c")
    assert not desk.left
    desk.types("c")
    assert desk.left
    assert desk.run.fold.closed


@pytest.mark.usefixtures("typed_job")
def test_a_full_disk_is_said_aloud_and_what_waited_is_stored_once_there_is_room(
    home: Path,
    done: Callable[..., str],
    done_json: Callable[..., Any],
    typed_in: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A disk that fills and is emptied again cannot be had in a test: the ledger refuses two appends instead."""
    real = Ledger.append
    refusals = iter(range(2))

    def append(ledger: Ledger, bodies: Any) -> Any:
        if any(body["kind"] == "arrival" for body in bodies) and next(refusals, None) is not None:
            raise words_for_trouble(StorageCause.FULL, path=home, found="database or disk is full")
        return real(ledger, bodies)

    monkeypatch.setattr(Ledger, "append", append)
    typed_in("0.5 deg", "undo", "0.6 deg")
    out = done("job", "run")
    assert out.count("NOT STORED, NOT TAKEN: ") == 1
    assert out.index("NOT STORED") < out.index("stored again") < out.index("act: undone: reading 1")
    assert [reading["state"] for reading in done_json("job", "show")["readings"]] == ["set aside", "accepted"]
    done("verify")


@pytest.mark.usefixtures("typed_job")
def test_a_close_that_cannot_be_stored_ends_with_the_error_and_the_job_stays_open(
    home: Path,
    fails: Callable[..., str],
    done_json: Callable[..., Any],
    typed_in: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A disk that is full at that moment cannot be had in a test: the ledger refuses the statement instead."""
    real = Ledger.append

    def append(ledger: Ledger, bodies: Any) -> Any:
        if any(body["kind"] == "statement" for body in bodies):
            raise words_for_trouble(StorageCause.FULL, path=home, found="database or disk is full")
        return real(ledger, bodies)

    monkeypatch.setattr(Ledger, "append", append)
    typed_in("0.5 deg", "close", "note never read")
    assert "database or disk is full" in fails(3, "job", "run")
    told = done_json("job", "show")
    assert not told["closed"]
    assert [reading["state"] for reading in told["readings"]] == ["accepted"]
    assert act_names(home) == []


def test_an_instrument_that_takes_no_command_cannot_be_told_to_measure(
    done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    done("enrol", "tape", *TYPED, "--address", "typed:")
    done(*NEW)
    typed_in("0.5 deg", "measure", "quit")
    assert "tape takes no command" in done("job", "run")
