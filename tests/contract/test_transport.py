from __future__ import annotations

import inspect
import io
import threading
import time
from collections.abc import Callable
from dataclasses import FrozenInstanceError, fields
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import Any, get_args

import pytest

from axledger.contract.errors import DeviceTrouble
from axledger.contract.transport import (
    Arrived,
    Clock,
    LinkEvent,
    Lost,
    Opened,
    Recovered,
    Silent,
    Stamp,
    SystemClock,
    Transport,
)
from axledger_drivers.registry import load_profile, transport_class
from axledger_drivers.transports.recorded import RecordedTransport
from axledger_drivers.transports.typed import TypedTransport
from axledger_simulators.clock import VirtualClock

NOW = Stamp(7, 1_767_600_000_000_000_000)
EVENTS: list[LinkEvent] = [
    Arrived(NOW, b"4.318m\r"),
    Opened(NOW, {"serial": "A-17"}),
    Lost(NOW, "the plug was pulled"),
    Recovered(NOW, {"serial": "A-17"}),
    Silent(NOW, 5_000_000_000),
]
REGISTERED = sorted(entry_points(group="axledger.transports"), key=lambda entry: entry.name)


def test_both_clocks_of_the_machine_are_read() -> None:
    before = (time.monotonic_ns(), time.time_ns())
    stamp = SystemClock().now()
    after = (time.monotonic_ns(), time.time_ns())
    assert before[0] <= stamp.mono_ns <= after[0]
    assert before[1] <= stamp.utc_ns <= after[1]


def test_a_monotonic_time_never_goes_back() -> None:
    clock = SystemClock()
    times = [clock.now().mono_ns for _ in range(1000)]
    assert times == sorted(times)


@pytest.mark.parametrize("clock", [SystemClock(), VirtualClock()], ids=lambda clock: type(clock).__name__)
def test_clocks_give_whole_nanoseconds(clock: Clock) -> None:
    stamp = clock.now()
    assert (type(stamp.mono_ns), type(stamp.utc_ns)) == (int, int)
    assert stamp.utc_ns > 1_577_836_800_000_000_000  # 2020-01-01T00:00:00Z, computed with datetime.timestamp


def test_every_event_has_an_example_here() -> None:
    assert {type(event) for event in EVENTS} == set(get_args(LinkEvent))


@pytest.mark.parametrize("event", EVENTS, ids=lambda event: type(event).__name__)
def test_every_event_says_when_and_is_never_changed(event: Any) -> None:
    """An event goes from the reader thread to others, so none may change it."""
    assert event.stamp is NOW
    assert fields(event)[0].name == "stamp"
    for field in fields(event):
        with pytest.raises(FrozenInstanceError):
            setattr(event, field.name, None)


def test_a_channel_is_named_only_where_there_are_several() -> None:
    assert Arrived(NOW, b"x").channel == ""
    assert Arrived(NOW, b"x", "notify-1") != Arrived(NOW, b"x")


def parameters(function: Callable[..., object]) -> list[tuple[str, object]]:
    return [(found.name, found.kind) for found in inspect.signature(function).parameters.values()]


@pytest.mark.parametrize("entry", REGISTERED, ids=lambda entry: entry.name)
def test_every_registered_transport_takes_what_the_contract_says(entry: EntryPoint) -> None:
    registered = entry.load()
    for name in ("open", "write", "close"):
        asked, offered = getattr(Transport, name), getattr(registered, name, None)
        assert offered is not None, name
        assert parameters(offered) == parameters(asked)
    assert parameters(registered)[:3] == [
        (name, inspect.Parameter.POSITIONAL_OR_KEYWORD) for name in ("address", "profile", "clock")
    ]


def test_there_are_transports_to_look_at() -> None:
    assert {"serial", "socket", "gatt", "typed", "recorded"} <= {entry.name for entry in REGISTERED}
    assert transport_class("recorded") is RecordedTransport


def recorded(tmp_path: Path) -> Transport:
    file = tmp_path / "own.jsonl"
    file.write_text('{"t": 0, "hex": "342e33"}\n{"t": 1.5, "hex": "31386d0d"}\n', encoding="utf-8")
    return RecordedTransport(f"recorded:{file}", load_profile("metre-line"), VirtualClock())


def typed(_tmp_path: Path) -> Transport:
    return TypedTransport("typed:", load_profile("typed"), VirtualClock(), stream=io.StringIO("4.318 m\n4.317 m\n"))


@pytest.mark.parametrize(("make", "sent"), [(recorded, b"4.318m\r"), (typed, b"4.318 m\n4.317 m\n")])
def test_bytes_in_order_then_one_loss_and_nothing_more(
    tmp_path: Path, make: Callable[[Path], Transport], sent: bytes
) -> None:
    events: list[LinkEvent] = []
    lost = threading.Event()

    def sink(event: LinkEvent) -> None:
        events.append(event)
        if isinstance(event, Lost):
            lost.set()

    transport = make(tmp_path)
    assert "address" in transport.open(sink)
    assert lost.wait(10)
    with pytest.raises(DeviceTrouble):
        transport.write(b"D")
    transport.close()
    transport.close()
    *arrived, last = events
    assert isinstance(last, Lost)
    assert last.why
    assert b"".join(event.data for event in arrived if isinstance(event, Arrived)) == sent
    assert len(arrived) == 2
    times = [event.stamp.mono_ns for event in events]
    assert times == sorted(times)
