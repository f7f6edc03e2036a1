"""Numbers as people write them: exact parsing and formatting of lengths and angles.

A text is used up whole or refused, never "the first number in it". Exact means rational: an inch is 254/10000 m
(International Yard and Pound agreement, 1959) and ``2 1/16`` is 33/16, so nothing is rounded before the end.
Whatever a ``format_`` function shows can be typed back and shows the same again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from axledger.contract.errors import BadInput
from axledger.contract.quantity import UNITS, Quantity, Unit, to_si

__all__ = ["DENOMINATORS", "DecimalMark", "NumberText", "parse_angle", "parse_length", "plain_number"]

DecimalMark = Literal[".", ","]
DENOMINATORS = (2, 4, 8, 16, 32, 64)
"""Denominators found on rules and tapes; any other is a slip. Common practice, no source."""

_MARKS = str.maketrans(
    {
        "\u2032": "'",  # prime
        "\u2019": "'",  # typographic apostrophe, which editors put for '
        "\u2033": '"',  # double prime
        "\u201d": '"',
        "\u2044": "/",  # fraction slash
        "\u2212": "-",  # minus sign
        "\u00ba": "\u00b0",  # ordinal sign used as degree
    }
)
_GROUP_BLANK = re.compile(r"(?<=[0-9])[\u00a0\u202f\u2009](?=[0-9]{3}(?![0-9]))")
_OTHER_BLANK = re.compile(r"[\u00a0\u202f\u2009\t]")

_LENGTH_UNITS = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **{symbol: symbol for symbol in ("dm", "cm", "mm")},
    **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
    **dict.fromkeys(("ft", "foot", "feet", "'"), "ft"),
    **dict.fromkeys(("yd", "yard", "yards"), "yd"),
}
_ANGLE_UNITS = {
    **dict.fromkeys(("deg", "degree", "degrees", "\u00b0"), "deg"),
    **dict.fromkeys(("arcmin", "'"), "arcmin"),
    **dict.fromkeys(("arcsec", '"'), "arcsec"),
    **{symbol: symbol for symbol in ("rad", "mrad", "mm/m", "%")},
}
_DECIMAL = re.compile(r"(?P<sign>[+-]?) ?(?P<number>[0-9][0-9.,]*) ?(?P<unit>[a-z%/\u00b0'\"]*)")
_FEET_INCHES = re.compile(
    r"(?P<sign>[+-]?) ?"
    r"(?:(?P<feet>[0-9]+) ?(?:'|ft|feet|foot) ?-? ?)?"
    r"(?=[0-9])(?P<inches>[0-9]+(?:\.[0-9]+)?)?"
    r"(?:(?(inches)[ -])(?P<top>[0-9]+)/(?P<bottom>[0-9]+))?"
    r" ?(?:\"|in|inch|inches)"
)
_SEXAGESIMAL = re.compile(
    r"(?P<sign>[+-]?) ?(?P<degrees>[0-9]+) ?(?:\u00b0|deg) ?"
    r"(?P<minutes>[0-9]{1,2}(?:\.[0-9]+)?) ?(?:'|min)"
    r"(?: ?(?P<seconds>[0-9]{1,2}(?:\.[0-9]+)?) ?(?:\"|sec))?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberText:
    """A number read from text: exact ``number`` and ``step`` of its last digit, both in ``unit`` (a symbol)."""

    number: Fraction
    step: Fraction
    unit: str

    @property
    def si(self) -> float:
        """Return the value in SI (m or rad), rounded once."""
        return to_si(self.number, UNITS[self.unit])

    @property
    def exact_si(self) -> Fraction:
        """Return the value in SI without rounding; raise ``BadInput`` for a slope, which has no exact angle."""
        return self.number * self._linear(UNITS[self.unit]).factor

    def in_unit(self, unit: Unit) -> NumberText:
        """Return the same value in ``unit`` of the same quantity, exactly; raise ``BadInput`` for a slope."""
        ratio = self._linear(UNITS[self.unit]).factor / self._linear(unit).factor
        return NumberText(number=self.number * ratio, step=self.step * ratio, unit=unit.symbol)

    def _linear(self, unit: Unit) -> Unit:
        if unit.slope:
            raise BadInput(
                "a slope cannot be converted exactly",
                found=f"{self.number} {self.unit}, {unit.symbol}",
                allowed="lengths, or angles in degrees, minutes, seconds or radians",
                do="use the rounded value in radians",
            )
        return unit


def plain_number(text: str, mark: DecimalMark = ".") -> tuple[Fraction, Fraction] | None:
    """Return ``(value, step of the last digit)`` of an ASCII decimal number, or ``None`` for anything else.

    Digits stand on both sides of the mark. Groups of three, split by the other mark, count only where the mark
    itself is there too (``4.318,2`` with a comma), as ``4.318`` alone could be either. Not a number: exponents,
    underscores, ``nan``, ``inf`` and digits of other scripts, all of which ``float`` would take.
    """
    other = "," if mark == "." else "."
    grouped = rf"[0-9]{{1,3}}(?:{re.escape(other)}[0-9]{{3}})+{re.escape(mark)}[0-9]{{1,20}}"
    simple = rf"[0-9]{{1,20}}(?:{re.escape(mark)}[0-9]{{1,20}})?"
    if not re.fullmatch(rf"[+-]?(?:{grouped}|{simple})", text):
        return None
    decimals = len(text.partition(mark)[2])
    return Fraction(text.replace(other, "").replace(mark, ".")), Fraction(1, 10**decimals)


def parse_length(text: str, *, unit: str | None = None, mark: DecimalMark | None = None) -> NumberText:
    """Read a length: ``4.318 m``, ``4318 mm``, ``14' 2 1/16"``, ``14ft 2-1/16in``, ``170 1/16"``.

    ``unit`` is taken for a bare number (``None``: a bare number is refused). ``mark`` is the decimal mark of the
    entry field; ``None`` takes the point and asks back where there is a comma. Raises ``BadInput``.
    """
    tidy = _tidy(text)
    if (found := _FEET_INCHES.fullmatch(tidy)) and (found["feet"] or found["bottom"]):
        return _feet_inches(found, text)
    return _decimal(tidy, text, _LENGTH_UNITS, unit=unit, mark=mark, quantity=Quantity.LENGTH)


def parse_angle(text: str, *, unit: str | None = None, mark: DecimalMark | None = None) -> NumberText:
    """Read an angle: ``1.27 deg``, ``-0°22'12"`` (the sign counts on a zero too), ``22.2 mm/m``, ``2.2 %``.

    ``unit`` and ``mark`` as for ``parse_length``. Raises ``BadInput``.
    """
    tidy = _tidy(text)
    if found := _SEXAGESIMAL.fullmatch(tidy):
        return _sexagesimal(found, text)
    return _decimal(tidy, text, _ANGLE_UNITS, unit=unit, mark=mark, quantity=Quantity.INCLINATION)


def _tidy(text: str) -> str:
    one_blank = _OTHER_BLANK.sub(" ", _GROUP_BLANK.sub("", text.translate(_MARKS)))
    return re.sub(" +", " ", one_blank).strip().lower()


def _decimal(
    tidy: str,
    text: str,
    units: dict[str, str],
    *,
    unit: str | None,
    mark: DecimalMark | None,
    quantity: Quantity,
) -> NumberText:
    found = _DECIMAL.fullmatch(tidy)
    if found is None:
        raise _refused(text, quantity, "the whole text must be one number with its unit")
    number = plain_number(found["sign"] + found["number"], mark or ".")
    if number is None:
        raise _mark_question(text, found["number"], quantity)
    symbol = units.get(found["unit"]) if found["unit"] else unit
    if symbol is None:
        raise _refused(text, quantity, "a known unit after the number: " + ", ".join(sorted(set(units.values()))))
    return NumberText(number=number[0], step=number[1], unit=symbol)


def _feet_inches(found: re.Match[str], text: str) -> NumberText:
    feet, inches = found["feet"], Fraction(found["inches"] or 0)
    top, bottom = int(found["top"] or 0), int(found["bottom"] or 1)
    if feet is not None and inches >= 12:
        raise _refused(text, Quantity.LENGTH, "inches below 12 where feet are given")
    if found["bottom"] is not None and bottom not in DENOMINATORS:
        raise _refused(text, Quantity.LENGTH, "a denominator of " + ", ".join(map(str, DENOMINATORS)))
    if top >= bottom and found["bottom"] is not None:
        raise _refused(text, Quantity.LENGTH, "a fraction below one")
    if found["bottom"] is not None and inches.denominator != 1:
        raise _refused(text, Quantity.LENGTH, "either decimals or a fraction, not both")
    size = 12 * int(feet or 0) + inches + Fraction(top, bottom)
    step = Fraction(1, bottom) if found["bottom"] is not None else _step(found["inches"])
    return NumberText(number=-size if found["sign"] == "-" else size, step=step, unit="in")


def _sexagesimal(found: re.Match[str], text: str) -> NumberText:
    minutes, seconds = Fraction(found["minutes"]), Fraction(found["seconds"] or 0)
    if minutes >= 60 or seconds >= 60:
        raise _refused(text, Quantity.INCLINATION, "minutes and seconds below 60")
    if found["seconds"] is not None and minutes.denominator != 1:
        raise _refused(text, Quantity.INCLINATION, "whole minutes where seconds are given")
    size = int(found["degrees"]) + minutes / 60 + seconds / 3600
    last = found["seconds"]
    step = _step(last) / 3600 if last is not None else _step(found["minutes"]) / 60
    return NumberText(number=-size if found["sign"] == "-" else size, step=step, unit="deg")


def _step(digits: str) -> Fraction:
    return Fraction(1, 10 ** len(digits.partition(".")[2]))


def _refused(text: str, quantity: Quantity, allowed: str) -> BadInput:
    return BadInput(
        f"{text!r} cannot be read as {_ARTICLE[quantity]}",
        found=repr(text),
        allowed=allowed,
        do="type it again with its unit, for example " + _EXAMPLE[quantity],
    )


def _mark_question(text: str, digits: str, quantity: Quantity) -> BadInput:
    """Ask instead of guessing where a mark could split decimals or thousands."""
    readings = (digits.replace(",", "."), re.sub("[.,]", "", digits))
    if len(re.findall("[.,]", digits)) != 1 or plain_number(readings[0]) is None:
        return _refused(text, quantity, "digits with one decimal mark between them")
    return BadInput(
        f"{readings[0]} or {readings[1]}?",
        found=f"{text!r}; its mark could split decimals or thousands",
        allowed="the decimal mark of this entry field only",
        do=f"type {readings[0].replace('.', ' then the decimal mark then ')}, or {readings[1]}",
    )


_ARTICLE = {Quantity.LENGTH: "a length", Quantity.INCLINATION: "an angle"}
_EXAMPLE = {
    Quantity.LENGTH: "4.318 m, 4318 mm or 14' 2 1/16\"",
    Quantity.INCLINATION: "1.27 deg, 0\u00b0 22' or 22.2 mm/m",
}
