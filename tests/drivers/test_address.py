from __future__ import annotations

import pytest

from axledger.contract.errors import BadInput
from axledger_drivers.transports.address import ends_for_good, part_after, transport_name_for


@pytest.mark.parametrize(
    ("address", "name"),
    [
        ("COM3", "serial"),
        ("COM10", "serial"),
        (r"\\.\COM27", "serial"),
        ("/dev/ttyUSB0", "serial"),
        ("/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0", "serial"),
        ("socket://127.0.0.1:4001", "socket"),
        ("gatt:C0:00:00:00:00:01", "gatt"),
        ("typed:", "typed"),
        ("recorded:/tmp/a stream.jsonl", "recorded"),
        (r"recorded:C:\streams\one.jsonl", "recorded"),
    ],
)
def test_each_form_has_its_transport(address: str, name: str) -> None:
    assert transport_name_for(address) == name


@pytest.mark.parametrize("address", ["", "  ", "gatt:", "recorded:", "http://example.invalid"])
def test_other_forms_are_refused_in_four_parts(address: str) -> None:
    with pytest.raises(BadInput) as caught:
        transport_name_for(address)
    assert [label for label, _ in caught.value.parts()] == ["what", "found", "allowed", "do"]


def test_only_typed_and_recorded_end_for_good() -> None:
    assert [ends_for_good(a) for a in ("typed:", "recorded:x", "COM3", "gatt:AA", "socket://h:1")] == [
        True,
        True,
        False,
        False,
        False,
    ]


def test_part_after_keeps_further_colons() -> None:
    assert part_after("gatt", "gatt:C0:00:01") == "C0:00:01"
    with pytest.raises(BadInput):
        part_after("gatt", "COM3")
