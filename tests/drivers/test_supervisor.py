from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
from serial.tools.list_ports_common import ListPortInfo

from axledger.contract.errors import BadFile, DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import (
    Arrived,
    Clock,
    LinkEvent,
    Lost,
    Opened,
    Recovered,
    Silent,
    Sink,
    Stamp,
    SystemClock,
    Transport,
)
from axledger_drivers.link_state import LinkState
from axledger_drivers.supervisor import BACKOFF_S, LinkSupervisor, MakeTransport
from axledger_drivers.transports.gatt import GattTransport
from axledger_drivers.transports.port_identity import finder
from axledger_drivers.transports.recorded import RecordedTransport
from axledger_drivers.transports.serial_port import SerialTransport
from axledger_drivers.trouble_count import Trouble
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld, make_backends
from axledger_simulators.peers.listener import Listener
from axledger_simulators.peers.pty_port import PtyPort
from axledger_simulators.peers.puppet import Puppet
from axledger_simulators.peers.tcp_port import TcpPort

pytestmark = pytest.mark.usefixtures("threads_end")

Start = Callable[..., LinkSupervisor]


class Gate:
    """Pauses that last until the test lets them end."""

    def __init__(self) -> None:
        self._pauses: queue.SimpleQueue[float] = queue.SimpleQueue()
        self._passes = threading.Semaphore(0)

    def __call__(self, stop: threading.Event, seconds: float) -> bool:
        self._pauses.put(seconds)
        while not stop.is_set():
            if self._passes.acquire(timeout=0.02):
                return stop.is_set()
        return True

    def pause(self) -> float:
        """Return how long the link wants to pause; it is paused then."""
        return self._pauses.get(timeout=10)

    def open(self, times: int = 1) -> None:
        self._passes.release(times)


class HandClock:
    """A clock that moves when told."""

    def __init__(self) -> None:
        self.ns = 0

    def now(self) -> Stamp:
        return Stamp(self.ns, self.ns)


@pytest.fixture
def gate() -> Gate:
    return Gate()


@pytest.fixture
def reports() -> queue.SimpleQueue[Trouble]:
    return queue.SimpleQueue()


@pytest.fixture
def start(profile: Profile, listener: Listener, gate: Gate, reports: queue.SimpleQueue[Trouble]) -> Iterator[Start]:
    """Return a function that starts a supervisor; it is stopped at the end."""
    running: list[LinkSupervisor] = []

    def started(
        address: str,
        make: MakeTransport,
        *,
        ports: list[ListPortInfo] | None = None,
        clock: Clock | None = None,
        profile: Profile = profile,
        sink: Sink = listener,
        identity: Mapping[str, str] | None = None,
    ) -> LinkSupervisor:
        link = LinkSupervisor(
            address,
            profile,
            clock or SystemClock(),
            sink,
            make_transport=make,
            find=finder(lambda: ports or []),
            wait=gate,
            report=reports.put,
            identity=identity,
            check_s=0.01,
        )
        running.append(link)
        link.start()
        return link

    yield started
    for link in running:
        assert link.stop()


def serial_maker(ports: list[ListPortInfo]) -> MakeTransport:
    def make(address: str, profile: Profile, clock: Clock) -> Transport:
        return SerialTransport(address, profile, clock, list_ports=lambda: ports)

    return make


def puppets(*each: Puppet) -> MakeTransport:
    waiting = iter(each)

    def make(address: str, profile: Profile, clock: Clock) -> Transport:
        return next(waiting)

    return make


def usb(device: str, serial_number: str) -> ListPortInfo:
    info = ListPortInfo(device)
    info.vid, info.pid, info.serial_number = 0x1234, 0xAB01, serial_number
    return info


def busy() -> DeviceTrouble:
    return DeviceTrouble("COM3: port already in use", cause=DeviceCause.BUSY, found="f", allowed="a", do="d")


def test_an_unplugged_port_comes_back_with_data_flowing(
    pty: PtyPort, start: Start, listener: Listener, gate: Gate
) -> None:
    link = start(pty.address, serial_maker([]))
    assert listener.next(Opened).identity == {"address": pty.address}
    pty.send(b"4.318m\r\n")
    assert listener.data(8) == b"4.318m\r\n"
    pty.unplug()
    listener.next(Lost)
    gate.pause()
    assert link.status().state is LinkState.SEARCHING
    with pytest.raises(DeviceTrouble) as caught:
        link.write(b"D")
    assert caught.value.found == "the link is searching"
    pty.plug()
    gate.open()
    listener.next(Recovered)
    pty.send(b"4.319m\r\n")
    assert listener.data(8) == b"4.319m\r\n"
    assert link.status().drops == 1


def test_a_usb_device_is_followed_by_identity_and_never_by_number(
    tmp_path: Path, start: Start, listener: Listener, gate: Gate
) -> None:
    # Unplug "usb0" (A1); a different adapter (B2) takes its name, A1 comes back as "usb1".
    old, new = tmp_path / "usb0", tmp_path / "usb1"
    ports = [usb(str(old), "A1")]
    first = PtyPort(old)
    link = start(str(old), serial_maker(ports), ports=ports)
    assert listener.next(Opened).identity["serial"] == "A1"
    first.close()
    ports[:] = []
    listener.next(Lost)
    stranger = PtyPort(old)
    ports[:] = [usb(str(old), "B2")]
    gate.pause()
    gate.open()
    gate.pause()
    assert link.status().state is LinkState.SEARCHING
    again = PtyPort(new)
    ports.append(usb(str(new), "A1"))
    gate.open()
    assert listener.next(Recovered).identity["address"] == str(new)
    stranger.send(b"9.999m\r\n")
    again.send(b"4.318m\r\n")
    assert listener.data(8) == b"4.318m\r\n"
    assert link.status().address == str(new)
    link.stop()
    again.close()
    stranger.close()


def test_a_known_identity_is_searched_from_the_start(pty: PtyPort, start: Start, listener: Listener) -> None:
    ports = [usb(pty.address, "A1")]
    start("COM3", serial_maker(ports), ports=ports, identity={"address": "COM3", "usb": "1234:AB01", "serial": "A1"})
    assert listener.next(Opened).identity["address"] == pty.address


def test_a_port_that_changes_hands_while_opening_is_let_go(
    start: Start, listener: Listener, gate: Gate, reports: queue.SimpleQueue[Trouble]
) -> None:
    ports = [usb("COM7", "A1")]
    stranger = Puppet()  # says that it has no USB ids at all
    start("COM7", puppets(stranger), ports=ports, identity={"usb": "1234:AB01", "serial": "A1"})
    assert "another device" in reports.get(timeout=10).error.what
    assert stranger.closed.is_set()
    gate.pause()
    assert listener.heard == []


def test_a_serial_server_that_restarts_is_found_again(
    tcp: TcpPort, start: Start, listener: Listener, gate: Gate, reports: queue.SimpleQueue[Trouble]
) -> None:
    link = start(tcp.address, serial_maker([]))
    listener.next(Opened)
    assert tcp.listened(5)
    tcp.send(b"one")
    assert listener.data(3) == b"one"
    tcp.unplug()
    listener.next(Lost)
    gate.pause()
    gate.open()
    trouble = reports.get(timeout=10).error
    assert isinstance(trouble, DeviceTrouble)
    assert trouble.cause is DeviceCause.REFUSED
    gate.pause()
    tcp.plug()
    gate.open()
    listener.next(Recovered)
    assert link.status().trouble is None
    assert tcp.listened(5)
    tcp.send(b"two")
    assert listener.data(3) == b"two"


def test_a_radio_link_comes_back_and_doubles_nothing(
    world: GattWorld, gatt_peer: GattPeer, start: Start, listener: Listener, gate: Gate
) -> None:
    scanner, client = make_backends(world)

    def make(address: str, profile: Profile, clock: Clock) -> Transport:
        return GattTransport(address, profile, clock, scanner=scanner, client=client, search_s=0.1)

    gate.open(100)
    start(gatt_peer.address, make)
    listener.next(Opened)
    for _ in range(5):
        gatt_peer.drop()
        listener.next(Lost)
        listener.next(Recovered)
    gatt_peer.send(b"4.318m\r\n")
    gatt_peer.send(b".")
    assert listener.next(Arrived).data == b"4.318m\r\n"
    assert listener.next(Arrived).data == b"."
    gatt_peer.unplug()
    listener.next(Lost)
    gatt_peer.plug()
    listener.next(Recovered)


def test_the_pauses_grow_and_the_same_error_is_told_once(
    tmp_path: Path, start: Start, gate: Gate, reports: queue.SimpleQueue[Trouble]
) -> None:
    link = start(str(tmp_path / "nothing"), serial_maker([]))
    pauses: list[float] = []
    for _ in range(8):
        pauses.append(gate.pause())
        gate.open()
    gate.pause()
    assert pauses == [*BACKOFF_S, 8.0, 8.0]
    assert reports.get(timeout=10).count == 1
    assert reports.empty()
    trouble = link.status().trouble
    assert trouble is not None
    assert trouble.count == 9


def test_a_port_busy_after_plugging_is_tried_again_without_a_word(
    start: Start, listener: Listener, gate: Gate, reports: queue.SimpleQueue[Trouble]
) -> None:
    gate.open(2)
    start("COM3", puppets(Puppet(busy()), Puppet(busy()), Puppet()))
    listener.next(Opened)
    assert reports.empty()


def test_a_port_that_stays_busy_is_told(start: Start, gate: Gate, reports: queue.SimpleQueue[Trouble]) -> None:
    clock = HandClock()
    start("COM3", puppets(Puppet(busy()), Puppet(busy()), Puppet()), clock=clock)
    gate.pause()
    clock.ns = 16_000_000_000
    gate.open(2)
    assert reports.get(timeout=10).count == 2


def test_a_reader_that_dies_without_a_word_is_noticed(start: Start, listener: Listener, gate: Gate) -> None:
    dead, fresh = Puppet(), Puppet()
    gate.open()
    start("COM3", puppets(dead, fresh), ports=[ListPortInfo("COM3")])
    listener.next(Opened)
    dead.say(Arrived(Stamp(1, 1), b"last words"))
    dead.alive = False
    assert listener.next(Arrived).data == b"last words"
    assert "reader ended" in listener.next(Lost).why
    listener.next(Recovered)
    assert dead.closed.is_set()


def test_a_link_that_dies_at_once_again_and_again_slows_down(start: Start, listener: Listener, gate: Gate) -> None:
    made = [Puppet() for _ in range(6)]
    start("COM3", puppets(*made), ports=[ListPortInfo("COM3")], clock=HandClock())
    pauses: list[float] = []
    listener.next(Opened)
    for puppet in made[:5]:
        puppet.say(Lost(Stamp(0, 0), "broken"))
        listener.next(Lost)
        pauses.append(gate.pause())
        gate.open()
        listener.next(Recovered)
    assert pauses == list(BACKOFF_S[:5])


def test_opened_comes_before_what_arrived_while_opening(start: Start, listener: Listener) -> None:
    class Hasty(Puppet):
        def open(self, sink: Sink) -> Mapping[str, str]:
            sink(Arrived(Stamp(0, 0), b"early"))
            return super().open(sink)

    start("COM3", puppets(Hasty()))
    listener.next(Opened)
    assert listener.next(Arrived).data == b"early"


def test_silence_is_told_once_and_the_link_is_opened_anew(
    start: Start, listener: Listener, silent_profile: Profile
) -> None:
    clock = HandClock()
    first, second, third = Puppet(), Puppet(), Puppet()
    ports = [ListPortInfo("COM3")]
    start("COM3", puppets(first, second, third), ports=ports, clock=clock, profile=silent_profile)
    listener.next(Opened)
    clock.ns = 6_000_000_000
    assert listener.next(Silent).for_ns == 6_000_000_000
    listener.next(Recovered)
    assert first.closed.is_set()
    clock.ns = 17_000_000_000  # 11 s more: the patience is 10 s now, and the silence is told already
    listener.next(Recovered)
    assert second.closed.is_set()
    third.say(Arrived(Stamp(0, 0), b"4.318m\r\n"))
    assert listener.data(8) == b"4.318m\r\n"
    assert sum(isinstance(event, Silent) for event in listener.heard) == 1


def test_a_silent_link_that_cannot_be_opened_again_is_lost(
    start: Start, listener: Listener, silent_profile: Profile, gate: Gate
) -> None:
    clock = HandClock()
    start("COM3", puppets(Puppet()), clock=clock, profile=silent_profile)  # in no list of ports any more
    listener.next(Opened)
    clock.ns = 6_000_000_000
    listener.next(Silent)
    listener.next(Lost)
    gate.pause()
    gate.open()
    gate.pause()
    assert sum(isinstance(event, Lost) for event in listener.heard) == 1


def test_stopping_hands_on_what_has_arrived(start: Start, listener: Listener) -> None:
    puppet = Puppet()
    reached, go_on = threading.Event(), threading.Event()

    def slow(event: LinkEvent) -> None:
        listener(event)
        if isinstance(event, Arrived) and event.data == b"1":
            reached.set()
            assert go_on.wait(10)

    link = start("COM3", puppets(puppet), sink=slow)
    puppet.say(Arrived(Stamp(0, 0), b"1"))
    assert reached.wait(10)
    puppet.say(Arrived(Stamp(0, 0), b"2"))
    puppet.say(Arrived(Stamp(0, 0), b"3"))
    stopper = threading.Thread(target=link.stop)
    stopper.start()
    go_on.set()
    stopper.join(5)
    assert [event.data for event in listener.heard if isinstance(event, Arrived)] == [b"1", b"2", b"3"]
    assert puppet.closed.is_set()
    assert link.status().state is LinkState.CLOSED


def test_a_babbling_device_does_not_hold_the_stop(pty: PtyPort, start: Start, listener: Listener) -> None:
    link = start(pty.address, serial_maker([]))
    listener.next(Opened)
    pty.on_receive = lambda data: pty.send(b"7" * 500)
    link.write(b"?" * 20)
    listener.next(Arrived)
    assert link.stop()


def test_stopping_while_searching_and_twice(tmp_path: Path, start: Start, gate: Gate) -> None:
    link = start(str(tmp_path / "nothing"), serial_maker([]))
    gate.pause()
    assert link.stop()
    assert link.stop()


def test_stopping_cuts_a_radio_search_short(world: GattWorld, start: Start, profile: Profile) -> None:
    scanner, client = make_backends(world)
    made = threading.Event()

    def make(address: str, profile: Profile, clock: Clock) -> Transport:
        made.set()
        return GattTransport(address, profile, clock, scanner=scanner, client=client, search_s=600)

    link = start("gatt:C0:FF", make)
    assert made.wait(10)
    assert link.stop()


def test_a_driver_that_hangs_is_left_behind(start: Start, listener: Listener, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("axledger_drivers.supervisor._STOP_S", 0.05)
    let_go = threading.Event()

    class Hanging(Puppet):
        def close(self) -> None:
            let_go.wait(10)

    puppet = Hanging()
    link = start("COM3", puppets(puppet))
    listener.next(Opened)
    puppet.say(Arrived(Stamp(0, 0), b"last"))
    assert listener.data(4) == b"last"
    assert not link.stop()
    let_go.set()
    monkeypatch.undo()


def test_a_recorded_stream_is_played_once(tmp_path: Path, start: Start, listener: Listener) -> None:
    file = tmp_path / "stream.jsonl"
    file.write_text('{"t": 0, "hex": "41"}\n{"t": 1, "hex": "42"}\n', encoding="utf-8")
    link = start(f"recorded:{file}", RecordedTransport)
    listener.next(Opened)
    assert listener.data(2) == b"AB"
    listener.next(Lost)
    assert link.stop()
    assert len(listener.heard) == 4


def test_a_malformed_recording_is_told_and_ends_the_link(
    tmp_path: Path, start: Start, listener: Listener, reports: queue.SimpleQueue[Trouble]
) -> None:
    file = tmp_path / "stream.jsonl"
    file.write_text("nonsense\n", encoding="utf-8")
    link = start(f"recorded:{file}", RecordedTransport)
    assert isinstance(reports.get(timeout=10).error, BadFile)
    assert link.stop()
    assert listener.heard == []


def test_a_search_that_fails_is_told_and_goes_on(
    profile: Profile, listener: Listener, gate: Gate, reports: queue.SimpleQueue[Trouble]
) -> None:
    asked: queue.SimpleQueue[int] = queue.SimpleQueue()

    def find(identity: Mapping[str, str]) -> str | None:
        asked.put(1)
        if asked.qsize() == 1:
            raise OSError("no list of ports")
        return "COM3"

    first, second = Puppet(), Puppet()
    link = LinkSupervisor(
        "COM3",
        profile,
        SystemClock(),
        listener,
        make_transport=puppets(first, second),
        find=find,
        wait=gate,
        report=reports.put,
        check_s=0.01,
    )
    gate.open(2)
    link.start()
    first.say(Lost(Stamp(0, 0), "gone"))
    listener.next(Opened)
    listener.next(Lost)
    assert reports.get(timeout=10).error.found == "no list of ports"
    listener.next(Recovered)
    assert link.stop()
