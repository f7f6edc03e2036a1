from __future__ import annotations

from pathlib import Path

from serial.tools.list_ports_common import ListPortInfo

from axledger_drivers.transports.port_identity import find_again, finder, port_identity, system_ports, usb_id


def port(
    device: str, serial_number: str | None = None, *, location: str | None = None, vid: int | None = 0x1234
) -> ListPortInfo:
    info = ListPortInfo(device)
    info.vid, info.pid = vid, None if vid is None else 0xAB01
    info.serial_number, info.location = serial_number, location
    return info


def test_the_ids_are_written_in_upper_case_hex() -> None:
    assert usb_id(port("COM3")) == "1234:AB01"
    assert usb_id(port("COM1", vid=None)) == ""


def test_an_adapter_is_found_under_its_new_name_and_never_by_its_old_one() -> None:
    identity = port_identity("/dev/ttyUSB0", [port("/dev/ttyUSB0", "A1")])
    assert find_again(identity, [port("/dev/ttyUSB0", "B2"), port("/dev/ttyUSB1", "A1")]) == "/dev/ttyUSB1"
    assert find_again(identity, [port("/dev/ttyUSB0", "B2")]) is None
    assert find_again(identity, [port("/dev/ttyUSB0")]) is None


def test_look_alikes_are_told_apart_by_their_socket_only() -> None:
    left, right = port("COM3", location="1-1"), port("COM4", location="1-2")
    identity = port_identity("COM3", [left, right])
    assert "alone" not in identity
    assert find_again(identity, [port("COM7", location="1-2"), port("COM8", location="1-1")]) == "COM8"
    assert find_again(identity, [port("COM7", location="1-3")]) is None


def test_the_only_adapter_of_its_kind_is_found_at_any_socket() -> None:
    identity = port_identity("COM3", [port("COM3", location="1-1"), port("COM1", vid=None)])
    assert identity["alone"] == "yes"
    assert find_again(identity, [port("COM5", location="1-4")]) == "COM5"
    assert find_again(identity, [port("COM5", location="1-4"), port("COM6", location="1-5")]) is None


def test_a_port_without_ids_is_found_by_its_address_if_it_is_still_one(tmp_path: Path) -> None:
    identity = port_identity("COM1", [port("COM1", vid=None)])
    assert identity == {"address": "COM1"}
    assert find_again(identity, [port("COM1", vid=None)]) == "COM1"
    assert find_again(identity, [port("COM1", "A1")]) is None
    assert find_again(identity, []) is None
    link = tmp_path / "port"
    assert find_again({"address": str(link)}, []) is None
    link.touch()
    assert find_again({"address": str(link)}, []) == str(link)


def test_other_addresses_stand_for_themselves() -> None:
    assert find_again({"address": "socket://127.0.0.1:4001"}, []) == "socket://127.0.0.1:4001"
    assert find_again({"address": "gatt:C0:01"}, []) == "gatt:C0:01"
    assert find_again({}, []) is None


def test_a_link_to_a_port_has_the_identity_of_the_port(tmp_path: Path) -> None:
    real, link = tmp_path / "ttyUSB0", tmp_path / "by-id"
    real.touch()
    link.symlink_to(real)
    assert port_identity(str(link), [port(str(real), "A1")])["serial"] == "A1"


def test_the_finder_asks_for_the_ports_of_the_moment() -> None:
    ports: list[ListPortInfo] = []
    find = finder(lambda: ports)
    identity = {"address": "COM3", "usb": "1234:AB01", "serial": "A1"}
    assert find(identity) is None
    ports.append(port("COM9", "A1"))
    assert find(identity) == "COM9"


def test_the_system_lists_its_ports() -> None:
    assert all(info.device for info in system_ports())
