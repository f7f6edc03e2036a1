"""Text from devices, files and people made safe to show: no control codes, no direction marks, on one line."""

from __future__ import annotations

import unicodedata

__all__ = ["one_line", "printable"]

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def printable(text: str) -> str:
    """Return ``text`` with every character that has no shape of its own written as its code: ``\\x1b``, ``\\u202e``.

    Escape sequences would steer a terminal, direction marks would turn a number round; written out they do
    neither and still show that they were there.
    """
    return "".join(_code(letter) if unicodedata.category(letter) in _HIDDEN else letter for letter in text)


def one_line(text: str, *, unicode: bool = True) -> str:
    """Return ``text`` printable and, with ``unicode`` false, in ASCII: ``±`` becomes ``+/-``, the rest ``?``."""
    shown = printable(text)
    if unicode:
        return shown
    for sign, plain in _PLAIN.items():
        shown = shown.replace(sign, plain)
    return shown.encode("ascii", "replace").decode("ascii")


_PLAIN = {"±": "+/-", "°": "deg", "→": "->", "≤": "<=", "≥": ">=", "–": "-", "−": "-", "·": ".", "…": "..."}


def _code(letter: str) -> str:
    number = ord(letter)
    if number < 0x100:
        return f"\\x{number:02x}"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
