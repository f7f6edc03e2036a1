from __future__ import annotations

import queue
import socket

import pytest

from axledger_simulators.peers.peer import Peer
from axledger_simulators.peers.tcp_port import TcpPort

pytestmark = pytest.mark.usefixtures("threads_end")


def connect(peer: Peer) -> socket.socket:
    host, port = peer.address.removeprefix("socket://").split(":")
    return socket.create_connection((host, int(port)), timeout=5)


def test_bytes_go_both_ways() -> None:
    received: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    peer = TcpPort(received.put)
    with connect(peer) as client:
        client.sendall(b"D")
        assert received.get(timeout=5) == b"D"
        assert peer.listened(5)
        peer.send(b"4.318m\r\n")
        assert client.recv(100) == b"4.318m\r\n"
    peer.close()
    peer.close()


def test_nothing_is_sent_before_the_client_has_settled() -> None:
    peer = TcpPort()
    assert not peer.listened(0)
    peer.send(b"too early")
    with connect(peer) as client:
        assert peer.listened(5)
        peer.send(b"now")
        assert client.recv(100) == b"now"
    peer.close()


def test_one_client_after_the_other() -> None:
    received: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    peer = TcpPort(received.put)
    for _ in range(3):
        with connect(peer) as client:
            client.sendall(b"?")
            assert received.get(timeout=5) == b"?"
            peer.send(b"x")
            assert client.recv(1) == b"x"
    peer.close()


def test_unplugging_ends_the_client_and_plugging_listens_on_the_same_port() -> None:
    peer = TcpPort()
    address = peer.address
    client = connect(peer)
    assert peer.listened(5)
    peer.unplug()
    assert client.recv(1) == b""
    client.close()
    with pytest.raises(ConnectionRefusedError):
        connect(peer)
    assert not peer.listened(0)
    peer.unplug()
    peer.plug()
    peer.plug()
    assert peer.address == address
    with connect(peer) as client:
        assert peer.listened(5)
    peer.close()


def test_a_device_may_unplug_itself() -> None:
    peer = TcpPort()
    peer.on_receive = lambda data: peer.unplug()
    with connect(peer) as client:
        client.sendall(b"D")
        assert client.recv(1) == b""
    peer.close()
