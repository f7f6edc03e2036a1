from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason
from serial.tools.list_ports_common import ListPortInfo

from axledger.contract.profile import Profile
from axledger_drivers.transports.discovery import list_candidates
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld, make_backends
from axledger_simulators.peers.pty_port import PtyPort

pytestmark = pytest.mark.usefixtures("threads_end")


def usb_port(device: str) -> ListPortInfo:
    info = ListPortInfo(device)
    info.vid, info.pid, info.serial_number, info.description = 0x1234, 0xAB01, "A1", "invented adapter"
    return info


def test_ports_are_listed_and_matched_by_their_ids(profile: Profile) -> None:
    plain = ListPortInfo("COM10")
    listing = list_candidates([profile], list_ports=lambda: [plain, usb_port("COM3")], radio_s=0)
    com10, com3 = listing.candidates
    assert (com10.address, com10.title, com10.profiles) == ("COM10", "", ())
    assert (com3.title, com3.profiles, com3.signal_dbm) == ("invented adapter", ("example-meter",), None)
    assert com3.identity["serial"] == "A1"
    assert listing.notes == ()


def test_a_profile_for_radio_only_knows_no_port(profile: Profile) -> None:
    radio_only = profile.model_copy(update={"transports": ("gatt",)})
    (port,) = list_candidates([radio_only], list_ports=lambda: [usb_port("COM3")], radio_s=0).candidates
    assert port.profiles == ()


def test_simulated_ports_are_listed_from_paths_and_folders(tmp_path: Path, profile: Profile) -> None:
    folder = tmp_path / "ports"
    folder.mkdir()
    first, second = PtyPort(folder / "example-1"), PtyPort(tmp_path / "other")
    (folder / "notes.txt").write_text("no port")
    (folder / "dangling").symlink_to(folder / "gone")
    listing = list_candidates(
        [profile], list_ports=list, extra_paths=[folder, tmp_path / "other", tmp_path / "nothing"], radio_s=0
    )
    assert [(c.address, c.profiles) for c in listing.candidates] == [
        (str(folder / "example-1"), ("example-meter",)),
        (str(tmp_path / "other"), ()),
    ]
    first.close()
    second.close()


def test_radio_devices_are_listed_strongest_first_and_unnamed_ones_too(world: GattWorld, profile: Profile) -> None:
    assert profile.gatt is not None
    other = profile.gatt.model_copy(update={"service": "180f"})
    GattPeer(world, "C0:01", profile.gatt, name="", rssi=-80)
    GattPeer(world, "C0:02", other, name="example 2", rssi=-50)
    GattPeer(world, "C0:03", other, name="", rssi=-60)
    hidden = GattPeer(world, "C0:04", profile.gatt)
    hidden.advertising = False
    listing = list_candidates([profile], list_ports=list, radio_s=0.001, scanner=make_backends(world)[0])
    assert [(c.address, c.title, c.profiles, c.signal_dbm) for c in listing.candidates] == [
        ("gatt:C0:02", "example 2", ("example-meter",), -50),
        ("gatt:C0:03", "", (), -60),
        ("gatt:C0:01", "", ("example-meter",), -80),
    ]


def test_a_name_that_comes_later_or_only_once_is_kept(world: GattWorld, profile: Profile) -> None:
    assert profile.gatt is not None
    peer = GattPeer(world, "C0:01", profile.gatt, name="")
    scanner = make_backends(world)[0]
    names = iter(["", "example 1", ""])
    collected: list[float] = []

    async def collect(seconds: float) -> None:
        collected.append(seconds)
        for name in names:
            peer.name = name
            await asyncio.sleep(0.03)  # the peer repeats itself every 0.02 s

    listing = list_candidates([profile], list_ports=list, radio_s=5.0, scanner=scanner, collect=collect)
    assert collected == [5.0]
    assert [candidate.title for candidate in listing.candidates] == ["example 1"]


def test_a_missing_radio_is_a_note(world: GattWorld, profile: Profile) -> None:
    world.fault = BleakBluetoothNotAvailableError("off", BleakBluetoothNotAvailableReason.POWERED_OFF)
    listing = list_candidates(
        [profile], list_ports=lambda: [usb_port("COM3")], scanner=make_backends(world)[0], radio_s=5.0
    )
    assert [candidate.address for candidate in listing.candidates] == ["COM3"]
    (note,) = listing.notes
    assert note.startswith("Bluetooth is switched off; switch Bluetooth on")
