from __future__ import annotations

import pytest

from axledger_drivers.decoders.hint import misfit_words, shown


def is_metres(body: bytes) -> bool:
    return body == b"4.318m"


def with_parity(text: bytes, odd: int) -> bytes:
    return bytes(byte | (0x80 if byte.bit_count() % 2 != odd else 0) for byte in text)


@pytest.mark.parametrize(
    ("body", "in_a_row", "words"),
    [
        (with_parity(b"4.318m", 0), 1, "7 data bits, even parity"),
        (with_parity(b"4.318m", 1), 1, "7 data bits, odd parity"),
        (bytes(byte | 0x80 for byte in b"4.318m"), 1, "7 data bits with parity"),
        (b"4,318m", 1, "decimal mark"),
        (b"4.31m", 2, ""),
        (b"4.31m", 3, "another program may be reading"),
        (b"\xff\xfe", 4, ""),
        (b"\xff\xfe", 5, "speed"),
    ],
)
def test_words(body: bytes, in_a_row: int, words: str) -> None:
    said = misfit_words(body, is_metres, in_a_row=in_a_row)
    assert words in said
    assert bool(said) == bool(words)


def test_shown_is_printable_and_short() -> None:
    assert shown(b"a\xb0\r") == r"'a\xb0\r'"
    assert shown(b"x" * 61) == "'" + "x" * 60 + "' ..."
