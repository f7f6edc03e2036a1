"""A transport may be anybody's: what it raises besides ``DeviceTrouble`` never ends a link without a word."""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator

import pytest

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Clock, Lost, Opened, Recovered, Stamp, SystemClock, Transport
from axledger_drivers.link_state import LinkState
from axledger_drivers.supervisor import LinkSupervisor
from axledger_drivers.trouble_count import Trouble
from axledger_simulators.peers.listener import Listener
from axledger_simulators.peers.puppet import Puppet

pytestmark = pytest.mark.usefixtures("threads_end")

Start = Callable[..., LinkSupervisor]


@pytest.fixture
def reports() -> queue.SimpleQueue[Trouble]:
    return queue.SimpleQueue()


@pytest.fixture
def start(profile: Profile, listener: Listener, reports: queue.SimpleQueue[Trouble]) -> Iterator[Start]:
    """Return a function that starts a link over these puppets, one for each opening; it is stopped at the end."""
    running: list[LinkSupervisor] = []

    def started(*puppets: Puppet) -> LinkSupervisor:
        waiting = iter(puppets)

        def make(address: str, profile: Profile, clock: Clock) -> Transport:
            return next(waiting)

        link = LinkSupervisor(
            "COM3", profile, SystemClock(), listener, make_transport=make, find=lambda _identity: "COM3",
            wait=lambda stop, _seconds: stop.is_set(), report=reports.put, check_s=0.01,
        )  # fmt: skip
        running.append(link)
        link.start()
        return link

    yield started
    for link in running:
        assert link.stop()


def test_a_foreign_error_at_opening_is_told_and_tried_again(
    start: Start, listener: Listener, reports: queue.SimpleQueue[Trouble]
) -> None:
    broken = Puppet(OSError(5, "input/output error"))
    start(broken, Puppet())
    trouble = reports.get(timeout=10).error
    assert isinstance(trouble, DeviceTrouble)
    assert trouble.cause is DeviceCause.OTHER
    assert "input/output error" in trouble.found
    listener.next(Opened)
    assert broken.closed.is_set()


def test_a_fault_when_opening_again_is_told_and_ends_the_link(
    start: Start, listener: Listener, reports: queue.SimpleQueue[Trouble]
) -> None:
    first = Puppet()
    link = start(first, Puppet(ZeroDivisionError("of the driver")))
    listener.next(Opened)
    first.say(Lost(Stamp(0, 0), "gone"))
    listener.next(Lost)
    assert reports.get(timeout=10).error.found == "ZeroDivisionError: of the driver"
    assert link.stop()
    assert link.status().state is LinkState.CLOSED
    assert not any(isinstance(event, Recovered) for event in listener.heard)


def test_a_fault_while_the_link_is_up_is_a_loss(start: Start, listener: Listener) -> None:
    class Faulty(Puppet):
        def reader_alive(self) -> bool:
            raise KeyError("of the driver")

    start(Faulty())
    listener.next(Opened)
    assert "KeyError: 'of the driver'" in listener.next(Lost).why


def test_a_foreign_error_at_sending_is_a_trouble_of_the_device(start: Start, listener: Listener) -> None:
    class Mute(Puppet):
        def write(self, data: bytes) -> None:
            raise BrokenPipeError(32, "broken pipe")

    link = start(Mute())
    listener.next(Opened)
    with pytest.raises(DeviceTrouble) as caught:
        link.write(b"D")
    assert "broken pipe" in caught.value.found
