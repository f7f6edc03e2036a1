"""Numbers for people: value ± U with matching digits, limits, and which way a value points.

U is half the width of the 95 % interval, two significant digits; the value has the same decimals (JCGM 100:2008,
7.2.6).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from axledger.contract.quantity import UNITS, Quantity, from_si, unit_named
from axledger.job.solution import Result

__all__ = ["Figure", "Units", "axle_reference", "direction_words", "figure_of", "limit_numbers",
           "limits_words", "own_reference", "quantity_of_key", "reading_words", "rounded", "short_quantity",
           "spread_words"]  # fmt: skip

_MOST_DECIMALS = 6
_SYMBOLS = {"arcmin": "min"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """What angles and lengths are shown in. Results are kept in SI whatever is chosen here."""

    angle: Literal["deg", "mm/m", "arcmin"] = "deg"
    length: Literal["mm", "in"] = "mm"

    def of(self, unit: str) -> str:
        """Return the unit in which a result of display unit ``unit`` ("deg" or "mm") is shown."""
        return self.length if unit_named(unit).quantity is Quantity.LENGTH else self.angle


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A value with its expanded uncertainty as text: ``value`` and ``expanded`` have the same ``decimals``."""

    value: str
    expanded: str
    unit: str
    decimals: int

    def text(self, *, unicode: bool = True) -> str:
        """Return ``+0.031 ± 0.036 deg``."""
        return f"{self.value} {'±' if unicode else '+/-'} {self.expanded} {self.unit}"


def figure_of(result: Result, units: Units) -> Figure | None:
    """Return value ± U of a result, or ``None`` while it is not determined."""
    if result.value is None or result.u95 is None:
        return None
    unit = units.of(result.unit)
    expanded = _shown_width(result.u95, result.value, unit)
    decimals = _decimals(expanded)
    return Figure(
        value=rounded(from_si(result.value, UNITS[unit]), decimals, signed=_is_signed(result.key)),
        expanded=rounded(expanded, decimals),
        unit=_SYMBOLS.get(unit, unit),
        decimals=decimals,
    )


def _shown_width(width_si: float, at_si: float, unit: str) -> float:
    """Convert a small width at ``at_si``: the slope units are tangents, so their scale depends on the place."""
    if UNITS[unit].slope:
        return width_si * (1.0 + math.tan(at_si) ** 2) / float(UNITS[unit].factor)
    return width_si / float(UNITS[unit].factor)


def _decimals(expanded: float) -> int:
    """Return the decimals that give ``expanded`` two significant digits: 0.0996 becomes 0.10, so two."""
    if not math.isfinite(expanded) or expanded <= 0.0:
        return 0
    return min(_MOST_DECIMALS, max(0, 1 - Decimal(f"{expanded:.1e}").adjusted()))


def rounded(number: float, decimals: int, *, signed: bool = False) -> str:
    """Return ``number`` with ``decimals``; a zero never has a sign, a positive one only where ``signed``."""
    shown = Decimal(number).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
    if shown == 0:
        return f"{abs(shown):f}"
    return f"{shown:+f}" if signed else f"{shown:f}"


def quantity_of_key(key: str) -> str:
    """Return what a result is: the key without unit and axle, such as ``toe.total``."""
    return key.split(".", 2)[2]


def _is_signed(key: str) -> bool:
    return quantity_of_key(key) not in ("wheelbase.left", "wheelbase.right")


_WAYS: dict[str, tuple[str, str]] = {
    "toe.total": ("toe-in", "toe-out"),
    "toe.left": ("toe-in", "toe-out"),
    "toe.right": ("toe-in", "toe-out"),
    "toe.length": ("toe-in", "toe-out"),
    "steering": ("points left", "points right"),
    "squareness": ("points left", "points right"),
    "thrust": ("points left", "points right"),
    "parallelism": ("points left", "points right"),
    "offset": ("to the left", "to the right"),
    "spacing": ("longer left", "longer right"),
    "wheelbase.difference": ("longer left", "longer right"),
    **{f"camber.{side}": ("top outward", "top inward") for side in ("left", "right")},
    **{f"caster.{side}": ("top rearward", "top forward") for side in ("left", "right")},
    **{f"kpi.{side}": ("top inward", "top outward") for side in ("left", "right")},
    **{f"{quantity}.difference": ("more left", "more right") for quantity in ("camber", "caster", "kpi")},
    **{f"ackermann.{side}": ("turned more", "turned less") for side in ("left", "right")},
    "pitch": ("nose down", "nose up"),
}
_SHORT_WAYS = {"points left": "left", "points right": "right", "to the left": "left", "to the right": "right",
               "longer left": "left", "longer right": "right", "toe-in": "in", "toe-out": "out",
               "top outward": "out", "top inward": "in", "top rearward": "rear", "top forward": "front",
               "more left": "left", "more right": "right", "turned more": "more", "turned less": "less",
               "nose down": "down", "nose up": "up"}  # fmt: skip
_SHORT_QUANTITIES = {
    "toe.total": "total toe",
    "toe.left": "toe left",
    "toe.right": "toe right",
    "steering": "steering",
    "squareness": "squareness",
    "thrust": "thrust angle",
    "parallelism": "parallelism",
    "offset": "lateral offset",
    "spacing": "spacing L-R",
    "wheelbase.left": "wheelbase left",
    "wheelbase.right": "wheelbase right",
    "wheelbase.difference": "wheelbase L-R",
    **{
        f"{key}.{side}": f"{words} {short}"
        for key, words in (("camber", "camber"), ("caster", "caster"), ("kpi", "kingpin"))
        for side, short in (("left", "left"), ("right", "right"), ("difference", "L-R"))
    },
    **{f"turn.{side}.{way}": f"turned {way}, {side[0].upper()}" for side in ("left", "right") for way in ("out", "in")},
    **{f"toe-out-on-turns.{side}": f"toe-out, {side[0].upper()} turn" for side in ("left", "right")},
    **{f"ackermann.{side}": f"inner, {side[0].upper()} turn" for side in ("left", "right")},
    "pitch": "frame pitch",
}


def direction_words(result: Result, units: Units, *, short: bool = False) -> str:
    """Say which way a result points; empty where it shows as zero or has no direction."""
    figure = figure_of(result, units)
    ways = _WAYS.get(quantity_of_key(result.key))
    if figure is None or ways is None or Decimal(figure.value) == 0:
        return ""
    words = ways[0] if Decimal(figure.value) > 0 else ways[1]
    return _SHORT_WAYS[words] if short else words


def short_quantity(result: Result) -> str:
    """Return the result's quantity in at most 15 letters, without the axle."""
    known = _SHORT_QUANTITIES.get(quantity_of_key(result.key))
    return known or result.name.split(": ", 1)[-1].removeprefix("total ")[:15]


def axle_reference(results: Sequence[Result]) -> str:
    """Return what an axle's results are judged against: the reference of its squareness, that of its unit."""
    square = (result for result in results if quantity_of_key(result.key) == "squareness")
    return next(square, results[0]).against


def own_reference(result: Result, reference: str) -> str:
    """Return what a result is judged against where that is not ``reference``, as ``against drive axle 1``."""
    return f"against {result.against}" if result.against != reference else ""


def limit_numbers(result: Result, units: Units) -> tuple[str, str]:
    """Return the lower and upper limit as text, empty where there is none; trailing zeros are left out."""
    unit = UNITS[units.of(result.unit)]

    def shown(limit_si: float | None) -> str:
        if limit_si is None:
            return ""
        digits = rounded(from_si(limit_si, unit), 4, signed=_is_signed(result.key))
        return digits.rstrip("0").rstrip(".")

    return shown(result.lower), shown(result.upper)


def limits_words(result: Result, units: Units) -> str:
    """Return the limits in words: ``-0.2 to +0.2 deg``, ``at most +8 mm``, ``no limit``."""
    lower, upper = limit_numbers(result, units)
    symbol = units.of(result.unit)
    unit = _SYMBOLS.get(symbol, symbol)
    if lower and upper:
        return f"{lower} to {upper} {unit}"
    if lower:
        return f"at least {lower} {unit}"
    return f"at most {upper} {unit}" if upper else "no limit"


def reading_words(value_si: float, unit: str, units: Units) -> str:
    """Return a reading (SI; ``unit`` as sent tells what it measures): ``4318 mm``, ``170 in``, ``+1.27 deg``."""
    quantity = unit_named(unit).quantity
    if quantity is Quantity.LENGTH:
        decimals = 1 if units.length == "mm" else 3
        digits = rounded(from_si(value_si, UNITS[units.length]), decimals)
        return f"{digits.rstrip('0').rstrip('.')} {units.length}"
    if quantity is Quantity.INCLINATION:
        return f"{rounded(from_si(value_si, UNITS['deg']), 2, signed=True)} deg"
    return f"{value_si:g} {unit}"


def spread_words(value_si: float, unit: str) -> str:
    """Return a small width such as a repeatability: ``0.70 mm``, ``0.011 deg`` (``unit`` "mm" or "deg")."""
    shown = from_si(value_si, UNITS[unit])
    return f"{rounded(shown, _decimals(shown))} {unit}"
