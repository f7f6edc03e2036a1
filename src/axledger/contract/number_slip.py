"""Name the likely slip in a typed length that is not where it was expected. Nothing is ever corrected."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from axledger.contract.number_format import format_mm
from axledger.contract.number_text import NumberText
from axledger.contract.quantity import UNITS

__all__ = ["in_words", "likely_slips"]

_ONES = [
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"),
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
]
_TENS = ["", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_POWERS = (10, 100, 1000)


def likely_slips(typed: NumberText, expected_m: float, *, within_m: float) -> tuple[str, ...]:
    """Return in words every common slip that would bring ``typed`` to within ``within_m`` of ``expected_m``.

    Looked at: the decimal point one to three places off, two neighbouring digits swapped, the wrong unit. Empty where
    the length is near the expected one, or where no slip explains it.
    """
    typed_m = typed.exact_si

    def fits(length_m: Fraction) -> bool:
        return abs(float(length_m) - expected_m) <= within_m

    if fits(typed_m):
        return ()
    slips = [
        f"decimal point: {power} times too {side}, {format_mm(right_m)} would fit"
        for power in _POWERS
        for side, right_m in (("long", typed_m / power), ("short", typed_m * power))
        if fits(right_m)
    ]
    slips += [
        f"two digits swapped: {swapped} {typed.unit} would fit"
        for swapped in _swaps(typed)
        if fits(Fraction(swapped) * UNITS[typed.unit].factor)
    ]
    slips += [
        f"another unit: {_plain(typed)} {unit.symbol} = {format_mm(right_m)}, did you mean {unit.symbol}?"
        for unit in (UNITS[symbol] for symbol in ("mm", "cm", "m", "in", "ft"))
        if unit.symbol != typed.unit and fits(right_m := typed.number * unit.factor)
    ]
    return tuple(slips)


def in_words(number: int) -> str:
    """Return a whole number below a million in words, so that a typed value gets a second look."""
    if number < 0:
        return "minus " + in_words(-number)
    if number < 20:
        return _ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens] + (f"-{_ONES[ones]}" if ones else "")
    size, name = (1000, "thousand") if number >= 1000 else (100, "hundred")
    lead, rest = divmod(number, size)
    return f"{in_words(lead)} {name}" + (f" {in_words(rest)}" if rest else "")


def _plain(typed: NumberText) -> str:
    """Return the number as decimal text with the digits of its step; a fraction that has none stays a fraction."""
    decimals = len(str(typed.step.denominator)) - 1
    if typed.step != Fraction(1, 10**decimals):
        return str(typed.number)
    ticks = int(abs(typed.number) / typed.step)
    digits = f"{ticks:0{decimals + 1}d}"
    text = f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits
    return f"-{text}" if typed.number < 0 else text


def _swaps(typed: NumberText) -> tuple[str, ...]:
    """Return the decimal texts that differ from the typed one by one swap of neighbouring digits."""
    text = _plain(typed)
    if "/" in text:
        return ()
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    swapped: dict[str, None] = {}
    for first, second in pairwise(places):
        signs = list(text)
        signs[first], signs[second] = signs[second], signs[first]
        swapped["".join(signs)] = None
    swapped.pop(text, None)
    return tuple(swapped)
