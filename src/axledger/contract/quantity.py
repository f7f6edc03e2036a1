"""Quantities, units and exact conversion.

Inside axledger a length is metres and an angle is radians; units exist at the edges only. Linear units are
exact rationals (inch = 25.4 mm: International Yard and Pound agreement, 1959). Slopes (mm/m, %) are tangents of
an angle and so are converted through ``atan``/``tan``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from fractions import Fraction

from axledger.contract.errors import UnknownName

__all__ = ["UNITS", "Quantity", "Unit", "from_si", "to_si", "unit_named"]


class Quantity(Enum):
    """What a number measures. SI units: ``LENGTH`` metre, ``INCLINATION`` radian, others as named."""

    LENGTH = "length"
    INCLINATION = "inclination"
    TEMPERATURE = "temperature"
    SUPPLY = "supply"
    QUALITY = "quality"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: ``symbol``, ``quantity``, exact ``factor`` to SI, or a ``slope`` (tangent) factor.

    For a slope unit the factor turns the number into the tangent of the angle (1 mm/m = 1/1000).
    """

    symbol: str
    quantity: Quantity
    factor: Fraction
    slope: bool = False


_DEGREE = Fraction(math.pi) / 180  # pi is the nearest double; everything else here is exact

UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("m", Quantity.LENGTH, Fraction(1)),
        Unit("dm", Quantity.LENGTH, Fraction(1, 10)),
        Unit("cm", Quantity.LENGTH, Fraction(1, 100)),
        Unit("mm", Quantity.LENGTH, Fraction(1, 1000)),
        Unit("0.1mm", Quantity.LENGTH, Fraction(1, 10_000)),
        Unit("in", Quantity.LENGTH, Fraction(254, 10_000)),
        Unit("ft", Quantity.LENGTH, Fraction(3048, 10_000)),
        Unit("yd", Quantity.LENGTH, Fraction(9144, 10_000)),
        Unit("deg", Quantity.INCLINATION, _DEGREE),
        Unit("arcmin", Quantity.INCLINATION, _DEGREE / 60),
        Unit("arcsec", Quantity.INCLINATION, _DEGREE / 3600),
        Unit("rad", Quantity.INCLINATION, Fraction(1)),
        Unit("mrad", Quantity.INCLINATION, Fraction(1, 1000)),
        Unit("mm/m", Quantity.INCLINATION, Fraction(1, 1000), slope=True),
        Unit("%", Quantity.INCLINATION, Fraction(1, 100), slope=True),
        Unit("degC", Quantity.TEMPERATURE, Fraction(1)),
        Unit("V", Quantity.SUPPLY, Fraction(1)),
        Unit("", Quantity.QUALITY, Fraction(1)),
    )
}


def unit_named(symbol: str) -> Unit:
    """Return the unit called ``symbol``; raise ``UnknownName`` with the known ones otherwise."""
    try:
        return UNITS[symbol]
    except KeyError as error:
        raise UnknownName("unit", symbol, sorted(filter(None, UNITS))) from error


def to_si(number: Decimal | Fraction | int, unit: Unit) -> float:
    """Convert ``number`` in ``unit`` to SI (m, rad, degC, V), rounding once, at the end."""
    exact = Fraction(number) * unit.factor
    return math.atan(float(exact)) if unit.slope else float(exact)


def from_si(value_si: float, unit: Unit) -> float:
    """Convert an SI value (m, rad, degC, V) to a number in ``unit``."""
    if unit.slope:
        return math.tan(value_si) / float(unit.factor)
    return value_si / float(unit.factor)
