from __future__ import annotations

import os
import queue
from pathlib import Path

import pytest
import serial

from axledger_simulators.peers.peer import Peer
from axledger_simulators.peers.pty_port import PtyPort

pytestmark = pytest.mark.usefixtures("threads_end")


def test_every_byte_goes_through_unchanged_and_without_echo(tmp_path: Path) -> None:
    received: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    peer: Peer = PtyPort(tmp_path / "port", received.put)
    every = bytes(range(256))
    with serial.Serial(peer.address, timeout=5) as port:
        assert peer.listened(0)
        peer.send(every)
        assert port.read(256) == every
        port.write(every)
        heard = b""
        while len(heard) < 256:
            heard += received.get(timeout=5)
        assert heard == every
        assert port.in_waiting == 0
    peer.close()


def test_the_tool_may_come_and_go(tmp_path: Path) -> None:
    peer = PtyPort(tmp_path / "port")
    for _ in range(3):
        with serial.Serial(peer.address, timeout=5) as port:
            peer.send(b"x")
            assert port.read(1) == b"x"
    peer.close()


def test_the_speed_of_the_tool_is_seen(tmp_path: Path) -> None:
    peer = PtyPort(tmp_path / "port")
    with serial.Serial(peer.address, baudrate=19200) as port:
        assert peer.host_baud() == 19200
        port.baudrate = 115200
        assert peer.host_baud() == 115200
        port.baudrate = 250000  # none of the system's own speeds
        assert peer.host_baud() is None
    peer.close()
    assert peer.host_baud() is None


def test_unplugging_takes_the_link_away_and_plugging_brings_it_back(tmp_path: Path) -> None:
    peer = PtyPort(tmp_path / "port")
    with serial.Serial(peer.address, timeout=5) as port:
        peer.unplug()
        assert not os.path.lexists(peer.address)
        with pytest.raises(OSError):  # noqa: PT011  # which one differs between systems
            port.read(1)
    assert not peer.listened(0)
    peer.send(b"nobody hears this")
    assert peer.lost_bytes == 17
    peer.unplug()
    peer.plug()
    peer.plug()
    with serial.Serial(peer.address, timeout=5) as port:
        peer.send(b"x")
        assert port.read(1) == b"x"
    peer.close()
    peer.close()
    assert list(tmp_path.iterdir()) == []


def test_a_link_left_by_a_crash_is_replaced(tmp_path: Path) -> None:
    link = tmp_path / "port"
    link.symlink_to(tmp_path / "gone")
    peer = PtyPort(link)
    assert link.is_char_device()
    peer.close()


def test_a_device_may_unplug_itself(tmp_path: Path) -> None:
    peer = PtyPort(tmp_path / "port")
    gone: queue.SimpleQueue[bool] = queue.SimpleQueue()

    def die(data: bytes) -> None:
        peer.unplug()
        gone.put(True)

    peer.on_receive = die
    with serial.Serial(peer.address) as port:
        port.write(b"D")
        assert gone.get(timeout=5)
    peer.close()
