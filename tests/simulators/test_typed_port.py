"""A simulated keyboard: its lines arrive through the real typed transport."""

from __future__ import annotations

import queue

from axledger.contract.transport import Arrived, LinkEvent, Lost, SystemClock
from axledger_drivers.registry import load_profile
from axledger_drivers.transports.typed import TypedTransport
from axledger_simulators.peers.typed_port import TypedPort


def test_lines_arrive_and_the_end_is_told() -> None:
    port, heard = TypedPort("typed:plates"), queue.SimpleQueue[LinkEvent]()
    transport = TypedTransport(port.address, load_profile("typed"), SystemClock(), stream=port)
    assert not port.listened(0.0)
    transport.open(heard.put)
    assert port.listened(5.0)
    port.send(b"20.1 deg\n")
    arrived = heard.get(timeout=5.0)
    assert isinstance(arrived, Arrived)
    assert arrived.data == b"20.1 deg\n"
    port.close()
    assert isinstance(heard.get(timeout=5.0), Lost)
    transport.close()
    assert not transport.reader_alive()


def test_nobody_at_the_keyboard_types_nothing() -> None:
    port = TypedPort()
    port.unplug()
    port.send(b"1 deg\n")
    port.plug()
    port.send(b"2 deg\n")
    assert port.readline() == "2 deg\n"
