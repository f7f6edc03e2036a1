from __future__ import annotations

import queue

import pytest

from axledger.contract.transport import Arrived, LinkEvent, Lost, Stamp
from axledger_simulators.peers.listener import Listener

NOW = Stamp(0, 0)


def test_events_come_out_in_order_and_are_remembered() -> None:
    listener = Listener()
    events: list[LinkEvent] = [Arrived(NOW, b"4.3"), Arrived(NOW, b"18m"), Lost(NOW, "gone")]
    for event in events:
        listener(event)
    assert listener.data(6) == b"4.318m"
    assert listener.next(Lost).why == "gone"
    assert listener.heard == events
    with pytest.raises(queue.Empty):
        listener.next(Lost, timeout_s=0)


def test_another_event_than_expected_is_a_failure() -> None:
    listener = Listener()
    listener(Lost(NOW, "gone"))
    with pytest.raises(AssertionError, match="waited for Arrived"):
        listener.data(1)
