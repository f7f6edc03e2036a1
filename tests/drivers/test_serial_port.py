from __future__ import annotations

import errno
import os
import queue
import socket
import threading
from pathlib import Path

import pytest
import serial
from pytest_mock import MockerFixture

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Lost, Stamp, SystemClock
from axledger_drivers.transports.serial_port import SerialTransport
from axledger_simulators.peers.listener import Listener
from axledger_simulators.peers.pty_port import PtyPort
from axledger_simulators.peers.tcp_port import TcpPort

pytestmark = pytest.mark.usefixtures("threads_end")


def transport(address: str, profile: Profile) -> SerialTransport:
    return SerialTransport(address, profile, SystemClock(), list_ports=list)


def open_trouble(address: str, profile: Profile) -> DeviceTrouble:
    link = transport(address, profile)
    with pytest.raises(DeviceTrouble) as caught:
        link.open(Listener())
    link.close()
    return caught.value


class FixedClock:
    def now(self) -> Stamp:
        return Stamp(12, 34)


def test_bytes_go_both_ways_through_a_terminal(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    received: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    pty.on_receive = received.put
    link = SerialTransport(pty.address, profile, FixedClock(), list_ports=list)
    assert link.open(listener) == {"address": pty.address}
    pty.send(b"4.318m\r\n")
    assert listener.data(8) == b"4.318m\r\n"
    assert {event.stamp for event in listener.heard if isinstance(event, Arrived)} == {Stamp(12, 34)}
    link.write(b"D")
    assert received.get(timeout=5) == b"D"
    link.close()
    link.close()
    assert not any(isinstance(event, Lost) for event in listener.heard)


def test_the_port_has_the_speed_of_the_profile(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    settings = profile.serial.model_copy(update={"baud": 19200})
    link = transport(pty.address, profile.model_copy(update={"serial": settings}))
    link.open(listener)
    assert pty.host_baud() == 19200
    link.close()


def test_dtr_and_rts_are_set_before_opening(
    pty: PtyPort, profile: Profile, listener: Listener, mocker: MockerFixture
) -> None:
    # A terminal has no such lines, so the order of the calls is what can be seen.
    dtr = mocker.patch.object(serial.Serial, "_update_dtr_state", autospec=True)
    seen: list[tuple[bool, bool]] = []
    dtr.side_effect = lambda port: seen.append((port.is_open, port.dtr))
    settings = profile.serial.model_copy(update={"dtr": False, "rts": False})
    link = transport(pty.address, profile.model_copy(update={"serial": settings}))
    link.open(listener)
    link.close()
    assert seen == [(False, False)]


def test_rubbish_of_a_wrong_speed_is_handed_on_as_it_is(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    # "4.318m\r\n" sent at 9600 and heard at 19200, then at 4800 (computed with a bit-level model), then every byte.
    rubbish = bytes.fromhex("6018861E98E018989E66809880") + bytes.fromhex("2B5ABA09") + bytes(range(256))
    link = transport(pty.address, profile)
    link.open(listener)
    pty.send(rubbish)
    assert listener.data(len(rubbish)) == rubbish
    link.close()


def test_much_at_once_is_all_kept_and_in_order(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    sent = b"".join(b"%06d\r\n" % number for number in range(10_000))
    link = transport(pty.address, profile)
    link.open(listener)
    pty.send(sent)
    assert listener.data(len(sent), timeout_s=30) == sent
    assert pty.lost_bytes == 0
    link.close()


def test_unplugging_is_one_loss_and_then_silence(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    link = transport(pty.address, profile)
    link.open(listener)
    pty.send(b"4.3")
    assert listener.data(3) == b"4.3"
    pty.unplug()
    assert pty.address in listener.next(Lost).why
    with pytest.raises(DeviceTrouble) as caught:
        link.write(b"D")
    assert caught.value.cause is DeviceCause.LOST
    link.close()
    assert sum(isinstance(event, Lost) for event in listener.heard) == 1


def test_bytes_read_before_an_error_are_handed_on_first(
    pty: PtyPort, profile: Profile, listener: Listener, mocker: MockerFixture
) -> None:
    # The driver's "how many wait" may fail with a plain OSError when the plug is pulled at that very moment.
    in_waiting = mocker.PropertyMock(side_effect=OSError(errno.EIO, "gone"))
    mocker.patch.object(serial.Serial, "in_waiting", in_waiting)
    link = transport(pty.address, profile)
    link.open(listener)
    pty.send(b"4")
    assert listener.next(Arrived).data == b"4"
    assert "gone" in listener.next(Lost).why
    link.close()


def test_a_babbling_device_does_not_hold_the_stop(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    link = transport(pty.address, profile)
    link.open(listener)

    def babble(data: bytes) -> None:
        pty.send(b"7" * 200)

    pty.on_receive = babble
    link.write(b"?" * 50)
    assert set(listener.data(1)) == {ord("7")}
    link.close()
    assert not link.reader_alive()
    assert not any(isinstance(event, Lost) for event in listener.heard)


def test_a_second_opening_finds_the_port_in_use(pty: PtyPort, profile: Profile, listener: Listener) -> None:
    first = transport(pty.address, profile)
    first.open(listener)
    trouble = open_trouble(pty.address, profile)
    assert trouble.cause is DeviceCause.BUSY
    assert "port already in use" in trouble.what
    first.close()
    second = transport(pty.address, profile)
    second.open(listener)
    second.close()


def test_an_absent_port(tmp_path: Path, profile: Profile) -> None:
    trouble = open_trouble(str(tmp_path / "nothing"), profile)
    assert trouble.cause is DeviceCause.ABSENT
    assert "plug the device in" in trouble.do


def test_a_dangling_link_is_an_absent_port(tmp_path: Path, profile: Profile) -> None:
    (tmp_path / "port").symlink_to(tmp_path / "gone")
    assert open_trouble(str(tmp_path / "port"), profile).cause is DeviceCause.ABSENT


def test_a_file_is_no_port(tmp_path: Path, profile: Profile) -> None:
    (tmp_path / "file").write_text("x")
    assert open_trouble(str(tmp_path / "file"), profile).cause is DeviceCause.OTHER


def test_a_denied_port_says_how_to_get_the_right(pty: PtyPort, profile: Profile, mocker: MockerFixture) -> None:
    # Root may open everything, so the system's refusal has to be made.
    mocker.patch("serial.serialposix.os.open", side_effect=PermissionError(errno.EACCES, os.strerror(errno.EACCES)))
    trouble = open_trouble(pty.address, profile)
    assert trouble.cause is DeviceCause.DENIED
    assert "group" in trouble.do


def test_bytes_go_both_ways_through_a_socket(tcp: TcpPort, profile: Profile, listener: Listener) -> None:
    received: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    tcp.on_receive = received.put
    link = transport(tcp.address, profile)
    assert link.open(listener) == {"address": tcp.address}
    assert tcp.listened(5)
    tcp.send(b"4.318m\r\n" * 100)
    assert listener.data(800) == b"4.318m\r\n" * 100
    link.write(b"D")
    assert received.get(timeout=5) == b"D"
    tcp.unplug()
    listener.next(Lost)
    link.close()


def test_a_refused_socket(profile: Profile) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))  # bound but not listening: refused, and nobody else can take it meanwhile
        trouble = open_trouble(f"socket://127.0.0.1:{free.getsockname()[1]}", profile)
    assert trouble.cause is DeviceCause.REFUSED
    assert "nothing listens" in trouble.what


def test_nothing_can_be_sent_before_opening(profile: Profile) -> None:
    with pytest.raises(DeviceTrouble) as caught:
        transport("COM10", profile).write(b"D")
    assert caught.value.cause is DeviceCause.LOST


def test_a_port_whose_closing_hangs_is_left_behind(
    pty: PtyPort, profile: Profile, listener: Listener, mocker: MockerFixture
) -> None:
    let_go = threading.Event()
    mocker.patch("axledger_drivers.transports.serial_port._CLOSE_S", 0.1)
    real = serial.Serial.close

    def hang(port: serial.Serial) -> None:
        if port.is_open:  # others are closed by the garbage collector meanwhile
            let_go.wait(10)
        real(port)

    mocker.patch.object(serial.Serial, "close", hang)
    link = transport(pty.address, profile)
    link.open(listener)
    link.close()
    assert any(thread.name.startswith("axledger close") for thread in threading.enumerate())
    let_go.set()
