from __future__ import annotations

from axledger.contract.profile import parse_profile
from axledger.contract.transport import Arrived, LinkEvent, Lost, Opened, Recovered
from axledger_drivers.registry import profile_text
from axledger_simulators.clock import VirtualClock
from axledger_simulators.peers.direct_port import DirectPort, direct_supervisors


def test_bytes_arrive_with_the_stamp_of_the_moment_they_are_sent() -> None:
    clock = VirtualClock()
    port, other = DirectPort("direct:a", clock), DirectPort("direct:b", clock)
    profile = parse_profile(profile_text("metre-line"), path="metre-line")
    events: list[LinkEvent] = []
    supervisor = direct_supervisors(port, other)("direct:a", profile, {}, events.append)
    assert not other.listened(0.0)
    supervisor.start()
    clock.advance(2.0)
    port.send(b"1.234m\r\n")
    port.send(b"")
    other.send(b"9.999m\r\n")
    assert [type(event) for event in events] == [Opened, Arrived]
    assert events[1] == Arrived(clock.now(), b"1.234m\r\n")


def test_what_the_tool_writes_reaches_the_device() -> None:
    port = DirectPort("direct:a", VirtualClock())
    port.write(b"nobody hears this")
    heard: list[bytes] = []
    port.on_receive = heard.append
    port.write(b"D")
    assert heard == [b"D"]


def test_an_unplugged_device_is_lost_and_comes_back() -> None:
    port = DirectPort("direct:a", VirtualClock())
    events: list[LinkEvent] = []
    port.deliver_to(events.append)
    port.unplug()
    port.send(b"lost")
    port.plug()
    port.send(b"heard")
    port.stop()
    port.send(b"too late")
    assert [type(event) for event in events] == [Lost, Recovered, Arrived]
