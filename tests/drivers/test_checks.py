from __future__ import annotations

import pytest

from axledger_drivers.decoders.checks import CheckKind, check_sum


@pytest.mark.parametrize(
    ("kind", "data", "expected"),
    [
        # The check value over the nine digits is the customary one of CRC catalogues (from memory).
        ("crc16-modbus", b"123456789", 0x4B37),
        # Read holding registers 0 and 1 of unit 1, sent C4 0B, low byte first (from memory).
        ("crc16-modbus", bytes.fromhex("010300000002"), 0x0BC4),
        ("crc16-modbus", b"", 0xFFFF),  # the initial value: MODBUS over Serial Line V1.02, 2006, 6.2.2
        ("xor", b"\x0f\xf0\x01", 0xFE),  # by hand
        ("xor", b"", 0),
        ("sum8", b"\xff\x01", 0x00),  # by hand: 256
        ("sum8", b"\xfe\x01", 0xFF),
    ],
)
def test_check_sum(kind: CheckKind, data: bytes, expected: int) -> None:
    assert check_sum(kind, data) == expected
