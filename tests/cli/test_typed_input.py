from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from axledger.cli.typed_input import TypedLines

TYPED = ("--profile", "typed", "--repeatability", "1 mm", "--tilt-repeatability", "0.02 deg")
NEW = ("job", "new", "--vehicle", "semitrailer-1axle", "--limits", "example-trailer", "--name", "first")


def test_lines_come_in_order_and_an_end_lets_the_reader_go() -> None:
    feed = TypedLines()
    read = list[str]()

    def reader() -> None:
        while line := feed.readline():
            read.append(line)

    thread = threading.Thread(target=reader, daemon=True)
    thread.start()
    feed.push("8.110 m")
    feed.push("8.111 m\n")
    feed.end()
    thread.join(10.0)
    assert not thread.is_alive()
    assert read == ["8.110 m\n", "8.111 m\n"]


def test_a_typed_number_for_an_instrument_that_is_not_typed_is_said_to_be_dropped(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    done("enrol", "tape", *TYPED, "--address", "typed:meter")
    done("enrol", "level", "--profile", "tilt-line", "--address", str(home / "gone"), "--tilt-repeatability", "0.1 deg")
    done(*NEW, "--meter", "tape", "--inclinometer", "level")
    typed_in("0.5 deg", "polish", "quit")
    out = done("job", "run")
    assert "0.5 deg not taken: GT:along wants the inclinometer level, which is not typed" in out
    assert "level: " in out  # that it is not there is told as well
    assert "is not there" in out
    told = done_json("job", "show")
    assert told["readings"] == []
    assert told["contradictory_rounds"] == []


@pytest.mark.parametrize("value", ["8.110 m", "8110 mm"])
def test_a_typed_reading_reaches_the_shot_before_the_line_after_it(
    done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None], value: str
) -> None:
    done("enrol", "tape", *TYPED, "--address", "typed:")
    done(*NEW, "--repeats", "1")
    typed_in("0.5 deg", "-0.5 deg", "0.3 deg", "-0.3 deg", value, "undo")
    done("job", "run")
    last = done_json("job", "show")["readings"][-1]
    assert (last["shot"], last["state"]) == ("K>T1Lh", "set aside")
    assert last["values"]["length"] == pytest.approx(8.110)


def test_one_typed_instrument_can_measure_both(
    done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    done("enrol", "tape", *TYPED, "--address", "typed:")
    done(*NEW, "--repeats", "1")
    typed_in("0.5 deg", "-0.5 deg", "0.3 deg", "-0.3 deg", "8.110 m", "8110 mm", "close")
    done("job", "run")
    told = done_json("job", "show")
    assert told["closed"]
    assert len(told["readings"]) == 6
