"""Words for bytes that nothing in the profile reads: what they were, and what the likely cause is."""

from __future__ import annotations

import re
from collections.abc import Callable

__all__ = ["misfit_words", "shown"]

_SHOWN_BYTES = 60
_SPEED_AFTER = 5
_SHARED_AFTER = 3
"""Misfits in a row before a cause is offered. Field practice, no source."""

_COMMA = re.compile(rb"(?<=[0-9]),(?=[0-9])")


def shown(body: bytes) -> str:
    """Return ``body`` in printable characters, escaped, cut at 60 bytes."""
    cut = repr(body[:_SHOWN_BYTES])[1:]
    return cut + (" ..." if len(body) > _SHOWN_BYTES else "")


def misfit_words(body: bytes, matches: Callable[[bytes], bool], *, in_a_row: int) -> str:
    """Return the likely cause in words, or an empty text; ``matches`` tells whether a line fits the profile.

    Nothing is ever repaired: a hint says what would fit, and the line stays unreadable.
    """
    if _cleared_fits(body, matches):
        return f"it fits once bit 7 is cleared: set the port to {_parity(body)}"
    if b"," in body and matches(_COMMA.sub(b".", body, count=1)):
        point = _COMMA.sub(b".", body, count=1)
        return (
            f"is the comma a decimal mark, {shown(point)}, or does it split thousands, {shown(_COMMA.sub(b'', body))}?"
        )
    plain = all(0x20 <= byte < 0x7F for byte in body)
    if plain and in_a_row >= _SHARED_AFTER:
        return f"{in_a_row} lines in a row do not fit; letters may be missing: another program may be reading this port"
    if in_a_row >= _SPEED_AFTER:
        return f"{in_a_row} lines in a row do not fit: the speed of the port may be wrong"
    return ""


def _cleared_fits(body: bytes, matches: Callable[[bytes], bool]) -> bool:
    """Tell whether bytes above 0x7F become a good line with bit 7 cleared, as a parity bit lands there."""
    if all(byte <= 0x7F for byte in body):
        return False
    lines = re.split(rb"[\r\n]+", bytes(byte & 0x7F for byte in body).strip(b"\0"))
    return any(line and matches(line) for line in lines)


def _parity(body: bytes) -> str:
    counts = {byte.bit_count() % 2 for byte in body}
    if counts == {0}:
        return "7 data bits, even parity"
    if counts == {1}:
        return "7 data bits, odd parity"
    return "7 data bits with parity"
