from __future__ import annotations

import io
import itertools
import os
import sys

import pytest

from axledger.contract.errors import UnknownName
from axledger.terminal.input import KeyInput, LineInput, wish_input
from axledger.terminal.keys import Wish


def test_lines_are_read_one_wish_at_a_time_until_the_end() -> None:
    with LineInput(io.StringIO("undo\n\n# remark\nmove 3 F0L>S1Rf\n")) as lines:
        assert lines.wishes(5.0) == [Wish("undo")]
        assert lines.wishes(5.0) == [Wish("move", {"reading": 3, "shot": "F0L>S1Rf"})]
        assert lines.wishes(5.0) == []
        assert lines.ended


def test_a_bad_line_is_told_and_the_next_one_still_counts() -> None:
    with LineInput(io.StringIO("jump\nundo\n")) as lines:
        with pytest.raises(UnknownName):
            lines.wishes(5.0)
        assert lines.wishes(5.0) == [Wish("undo")]


def test_a_stream_closed_under_the_reader_is_its_end() -> None:
    stream = io.StringIO("undo\n")
    stream.close()
    with LineInput(stream) as lines:
        assert lines.wishes(5.0) == []
        assert lines.ended


def test_a_pipe_gives_lines() -> None:
    assert isinstance(wish_input(io.StringIO("")), LineInput)


if sys.platform != "win32":
    import termios

    def test_keys_of_a_terminal_are_read_without_waiting_and_without_echo() -> None:
        ours, theirs = os.openpty()
        try:
            with open(theirs, encoding="utf-8", closefd=False) as stream:
                before = termios.tcgetattr(theirs)
                keys = wish_input(stream)
                assert isinstance(keys, KeyInput)
                with keys:
                    assert not termios.tcgetattr(theirs)[3] & (termios.ECHO | termios.ICANON)
                    assert keys.wishes() == []
                    os.write(ours, b"ub%")
                    assert keys.wishes() == [Wish("undo"), Wish("blocked")]
                assert termios.tcgetattr(theirs)[3] == before[3]
        finally:
            os.close(ours)
            os.close(theirs)

    def test_a_double_press_and_an_arrow_key_do_not_count() -> None:
        ours, theirs = os.openpty()
        ticks = itertools.count(0, 100_000_000)
        try:
            with (
                open(theirs, encoding="utf-8", closefd=False) as stream,
                KeyInput(stream, now_ns=lambda: next(ticks)) as keys,
            ):
                os.write(ours, b"nn\x1b[B")
                assert keys.wishes() == [Wish("turned")]
        finally:
            os.close(ours)
            os.close(theirs)
