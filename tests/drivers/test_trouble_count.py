from __future__ import annotations

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger_drivers.trouble_count import TroubleCount

SECOND = 1_000_000_000


def trouble(what: str, cause: DeviceCause = DeviceCause.ABSENT) -> DeviceTrouble:
    return DeviceTrouble(what, cause=cause, found="f", allowed="a", do="d")


def test_the_same_error_is_told_once_a_minute_with_its_count() -> None:
    count = TroubleCount()
    told = [second for second in range(600) if count.note(trouble("gone"), second * SECOND)]
    assert told == list(range(0, 600, 60))
    assert count.latest is not None
    assert count.latest.count == 600
    assert count.latest.since_ns == 0


def test_another_error_is_told_at_once() -> None:
    count = TroubleCount()
    assert count.note(trouble("gone"), 0)
    assert count.note(trouble("denied"), 1)
    assert count.latest is not None
    assert count.latest.count == 1


def test_a_busy_port_is_told_only_when_it_stays_busy() -> None:
    count = TroubleCount()
    busy = trouble("in use", DeviceCause.BUSY)
    assert [second for second in range(30) if count.note(busy, second * SECOND)] == [15]


def test_a_working_link_clears_the_count() -> None:
    count = TroubleCount()
    count.note(trouble("gone"), 0)
    count.clear()
    assert count.latest is None
    assert count.note(trouble("gone"), 1)
