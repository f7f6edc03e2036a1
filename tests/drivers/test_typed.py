from __future__ import annotations

import io
import os
import threading

import pytest

from axledger.contract.errors import BadInput, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Lost, SystemClock
from axledger_drivers.transports.typed import TypedTransport
from axledger_simulators.peers.listener import Listener

pytestmark = pytest.mark.usefixtures("threads_end")


def test_each_line_is_one_arrival_and_the_end_is_the_loss(profile: Profile, listener: Listener) -> None:
    stream = io.StringIO("4.318\n−1,37 °\nlast", newline="")
    link = TypedTransport("typed:", profile, SystemClock(), stream=stream)
    assert link.open(listener) == {"address": "typed:"}
    assert [listener.next(Arrived).data for _ in range(3)] == [b"4.318\n", "−1,37 °\n".encode(), b"last"]
    assert "ended" in listener.next(Lost).why
    link.close()
    link.close()


def test_lines_come_as_they_are_typed(profile: Profile, listener: Listener) -> None:
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8", errors="surrogateescape") as stream:
        link = TypedTransport("typed:desk", profile, SystemClock(), stream=stream)
        link.open(listener)
        os.write(write, b"4.3")
        os.write(write, b"18\n")
        assert listener.next(Arrived).data == b"4.318\n"
        assert link.reader_alive()
        os.write(write, b"\xff\x80\n")
        assert listener.next(Arrived).data == b"\xff\x80\n"
        os.close(write)
        listener.next(Lost)
        link.close()


def test_a_line_typed_after_closing_is_dropped(profile: Profile, listener: Listener) -> None:
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8") as stream:
        link = TypedTransport("typed:", profile, SystemClock(), stream=stream)
        link.open(listener)
        link.close()
        os.write(write, b"4.318\n")
        os.close(write)
        for thread in threading.enumerate():
            if thread.name.startswith("axledger read typed"):
                thread.join(5)
    assert listener.heard == []


def test_a_stream_that_cannot_be_read_is_a_loss(profile: Profile, listener: Listener) -> None:
    stream = io.TextIOWrapper(io.BytesIO(b"\xff\n"), encoding="utf-8")
    link = TypedTransport("typed:", profile, SystemClock(), stream=stream)
    link.open(listener)
    assert "cannot be read" in listener.next(Lost).why
    link.close()


def test_nothing_can_be_sent_to_a_keyboard(profile: Profile) -> None:
    with pytest.raises(DeviceTrouble):
        TypedTransport("typed:", profile, SystemClock(), stream=io.StringIO()).write(b"D")


def test_another_address_is_refused(profile: Profile) -> None:
    with pytest.raises(BadInput):
        TypedTransport("COM3", profile, SystemClock(), stream=io.StringIO())
