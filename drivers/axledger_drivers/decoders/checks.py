"""Check sums of text lines."""

from __future__ import annotations

from functools import reduce
from typing import Literal

__all__ = ["CheckKind", "check_sum"]

CheckKind = Literal["xor", "sum8", "crc16-modbus"]


def check_sum(kind: CheckKind, data: bytes) -> int:
    """Return the check over ``data``: 8 bits for ``xor`` and ``sum8``, 16 bits for ``crc16-modbus``.

    Source of the CRC: MODBUS over Serial Line, specification and implementation guide V1.02, 2006, 6.2.2
    (polynomial 0xA001 reflected, initial 0xFFFF).
    """
    if kind == "xor":
        return reduce(_xor, data, 0)
    if kind == "sum8":
        return sum(data) & 0xFF
    return reduce(_crc16_byte, data, 0xFFFF)


def _xor(sum_so_far: int, byte: int) -> int:
    return sum_so_far ^ byte


def _crc16_byte(crc: int, byte: int) -> int:
    crc ^= byte
    for _ in range(8):
        crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc
