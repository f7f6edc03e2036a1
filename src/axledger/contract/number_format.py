"""Show lengths and angles to people; the counterpart of ``number_text``."""

from __future__ import annotations

import math
from fractions import Fraction

from axledger.contract.errors import BadInput
from axledger.contract.number_text import DENOMINATORS, DecimalMark
from axledger.contract.quantity import UNITS, from_si

__all__ = [
    "format_degrees",
    "format_degrees_minutes",
    "format_inch_fraction",
    "format_inches",
    "format_metres",
    "format_mm",
    "format_slope",
]


def format_metres(length_m: float | Fraction, *, decimals: int = 4, mark: DecimalMark = ".") -> str:
    """Return a length in m as text in metres: ``4.3180 m``."""
    return _decimal(Fraction(length_m), decimals, mark) + " m"


def format_mm(length_m: float | Fraction, *, decimals: int = 1, mark: DecimalMark = ".") -> str:
    """Return a length in m as text in millimetres: ``4318.0 mm``."""
    return _decimal(Fraction(length_m) / UNITS["mm"].factor, decimals, mark) + " mm"


def format_inches(length_m: float | Fraction, *, decimals: int = 3, mark: DecimalMark = ".") -> str:
    """Return a length in m as text in decimal inches: ``170.000 in``."""
    return _decimal(Fraction(length_m) / UNITS["in"].factor, decimals, mark) + " in"


def format_inch_fraction(length_m: float | Fraction, *, denominator: int = 16, feet: bool = False) -> str:
    """Return a length in m to the nearest 1/``denominator`` inch: ``170 1/16"`` or, with feet, ``14' 2 1/16"``.

    Raises ``BadInput`` for a denominator that no rule has.
    """
    if denominator not in DENOMINATORS:
        raise BadInput(
            "that fraction of an inch cannot be shown",
            found=f"1/{denominator}",
            allowed=", ".join(f"1/{known}" for known in DENOMINATORS),
            do="choose one of these",
        )
    parts = round(Fraction(length_m) / UNITS["in"].factor * denominator)
    whole, rest = divmod(abs(parts), denominator)
    sign = "-" if parts < 0 else ""
    lead = f"{whole // 12}' " if feet and whole >= 12 else ""
    if lead:
        whole %= 12
    fraction = str(Fraction(rest, denominator)) if rest else ""
    inches = " ".join(part for part in (str(whole) if whole or not fraction else "", fraction) if part)
    return f'{sign}{lead}{inches}"'


def format_degrees(angle_rad: float, *, decimals: int = 2, mark: DecimalMark = ".") -> str:
    """Return an angle in rad as text in degrees: ``1.27°``."""
    return _decimal(Fraction(math.degrees(angle_rad)), decimals, mark) + "°"


def format_degrees_minutes(angle_rad: float, *, decimals: int = 1) -> str:
    """Return an angle in rad in degrees and minutes: ``-0° 22.2'``; the sign stands on a zero too."""
    ticks = round(Fraction(math.degrees(angle_rad)) * 60 * 10**decimals)
    degrees, minutes = divmod(abs(ticks), 60 * 10**decimals)
    return f"{'-' if ticks < 0 else ''}{degrees}° {_decimal(Fraction(minutes, 10**decimals), decimals, '.')}'"


def format_slope(angle_rad: float, *, decimals: int = 1, mark: DecimalMark = ".") -> str:
    """Return an angle in rad as a slope, its tangent in mm/m: ``22.2 mm/m``."""
    return _decimal(Fraction(from_si(angle_rad, UNITS["mm/m"])), decimals, mark) + " mm/m"


def _decimal(number: Fraction, decimals: int, mark: DecimalMark) -> str:
    """Return ``number`` rounded half to even; a zero has no sign, and no thousands mark is ever shown."""
    ticks = round(number * 10**decimals)
    whole, rest = divmod(abs(ticks), 10**decimals)
    sign = "-" if ticks < 0 else ""
    return f"{sign}{whole}{mark}{rest:0{decimals}d}" if decimals else f"{sign}{whole}"
