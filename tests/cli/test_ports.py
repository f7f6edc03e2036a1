from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from bleak.exc import BleakError

from axledger.contract.profile import parse_profile
from axledger_drivers.registry import profile_text
from axledger_drivers.transports.discovery import list_candidates
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld, make_backends

OWN = """
schema = 1
name = "own-meter"
title = "example: a shop's own profile"
transports = ["serial"]

[recognise]
name = "^known"

[[line]]
kind = "measured"
pattern = '(?P<length>\\d+) mm'
value = [{ group = "length", quantity = "length", unit = "mm" }]
"""


if os.name == "posix":
    from axledger_simulators.peers.pty_port import PtyPort

    def test_ports_of_a_folder_are_listed_with_the_profile_that_fits(
        home: Path, tmp_path: Path, done: Callable[..., str], done_json: Callable[..., Any]
    ) -> None:
        (home / "profiles").mkdir(parents=True)
        (home / "profiles" / "own-meter.toml").write_text(OWN, encoding="utf-8")
        peers = [PtyPort(tmp_path / name) for name in ("known", "other")]
        try:
            found = done_json("ports", "--in", str(tmp_path), "--radio", "0")
            fits = {candidate["address"]: candidate["profiles"] for candidate in found["candidates"]}
            assert fits[peers[0].address] == ["own-meter"]
            assert fits[peers[1].address] == []
            lines = done("ports", "--in", str(tmp_path), "--radio", "0").splitlines()
        finally:
            for peer in peers:
                peer.close()
        assert lines[lines.index(f"{peers[0].address}  known") + 1] == "    fits own-meter"
        unknown = lines[lines.index(f"{peers[1].address}  other") + 1]
        assert unknown.startswith("    may be any of: ")
        assert "metre-line" in unknown
        assert "gatt-metre" not in unknown


def test_a_folder_without_ports_adds_nothing(tmp_path: Path, done_json: Callable[..., Any]) -> None:
    (tmp_path / "text").write_text("no port", encoding="utf-8")
    found = done_json("ports", "--in", str(tmp_path), "--in", str(tmp_path / "missing"), "--radio", "0")
    assert [known for known in found["candidates"] if known["address"].startswith(str(tmp_path))] == []
    assert found["notes"] == []


def test_a_radio_that_is_not_there_is_a_note_and_no_error(
    done_json: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    world = GattWorld()
    world.fault = BleakError("no radio in this test")
    scanner, _ = make_backends(world)
    looked = partial(list_candidates, scanner=scanner, list_ports=list)
    monkeypatch.setattr("axledger_drivers.transports.discovery.list_candidates", looked)
    found = done_json("ports", "--radio", "0.05")
    assert found["candidates"] == []
    assert len(found["notes"]) == 1


def test_what_advertises_is_listed_with_its_signal(done: Callable[..., str], monkeypatch: pytest.MonkeyPatch) -> None:
    channel = parse_profile(profile_text("gatt-metre"), path="gatt-metre").gatt
    assert channel is not None
    world = GattWorld()
    GattPeer(world, "C0:00:00:00:00:09", channel, name="example 9", rssi=-61)
    scanner, _ = make_backends(world)
    looked = partial(list_candidates, scanner=scanner, list_ports=list)
    monkeypatch.setattr("axledger_drivers.transports.discovery.list_candidates", looked)
    out = done("ports", "--radio", "0.2")
    assert out == "gatt:C0:00:00:00:00:09  example 9  -61 dBm\n    fits gatt-metre\n"


def test_nothing_at_all_says_what_to_try(monkeypatch: pytest.MonkeyPatch, done: Callable[..., str]) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda **_: [])
    assert "axledger demo" in done("ports", "--radio", "0")
