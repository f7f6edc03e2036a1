"""Fixtures of the transports: a profile, a listener, and the proof that no thread is left behind."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from axledger.contract.profile import Profile, parse_profile
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld
from axledger_simulators.peers.listener import Listener
from axledger_simulators.peers.pty_port import PtyPort
from axledger_simulators.peers.tcp_port import TcpPort

# An invented device; the UUIDs are of the private kind and mean nothing.
PROFILE = """
schema = 1
name = "example-meter"
title = "example: invented distance meter"
transports = ["serial", "socket", "gatt", "typed", "recorded"]

[gatt]
service = "a0000001-0000-4000-8000-000000000001"
notify = "a0000001-0000-4000-8000-000000000002"
write = "a0000001-0000-4000-8000-000000000003"

[recognise]
services = ["a0000001-0000-4000-8000-000000000001"]
name = "^example"
usb = ["1234:ab01"]

[[line]]
kind = "status"
status = "other"
pattern = ".*"
"""


@pytest.fixture
def profile() -> Profile:
    return parse_profile(PROFILE, path="example")


@pytest.fixture
def silent_profile() -> Profile:
    return parse_profile(PROFILE + "\n[timing]\nsilent_s = 5\n", path="example")


@pytest.fixture
def listener() -> Listener:
    return Listener()


@pytest.fixture
def threads_end() -> Iterator[None]:
    """Fail where a thread started in the test lives longer than it."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in threading.enumerate() if thread not in before]
    for thread in left:
        thread.join(3.0)
    assert [thread.name for thread in left if thread.is_alive()] == []


@pytest.fixture
def pty(tmp_path: Path) -> Iterator[PtyPort]:
    peer = PtyPort(tmp_path / "port")
    yield peer
    peer.close()


@pytest.fixture
def tcp() -> Iterator[TcpPort]:
    peer = TcpPort()
    yield peer
    peer.close()


@pytest.fixture
def world() -> GattWorld:
    return GattWorld()


@pytest.fixture
def gatt_peer(world: GattWorld, profile: Profile) -> GattPeer:
    assert profile.gatt is not None
    return GattPeer(world, "C0:00:00:00:00:01", profile.gatt, name="example 1")
