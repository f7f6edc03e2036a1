from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.errors import UnknownName
from axledger.contract.quantity import UNITS, Quantity, from_si, to_si, unit_named


@pytest.mark.parametrize(
    ("number", "symbol", "si"),
    [
        # inch 25.4 mm, foot 0.3048 m, yard 0.9144 m: International Yard and Pound agreement, 1959
        ("170", "in", 4.318),
        ("14", "ft", 4.2672),
        ("1", "yd", 0.9144),
        ("4318", "mm", 4.318),
        ("43180", "0.1mm", 4.318),
        ("431.8", "cm", 4.318),
        ("43.18", "dm", 4.318),
        ("4.318", "m", 4.318),
        ("180", "deg", math.pi),  # half a turn is pi radians
        ("10800", "arcmin", math.pi),
        ("648000", "arcsec", math.pi),
        ("1000", "mrad", 1.0),
        ("100", "%", math.pi / 4),  # rise equal to run is half a right angle
        ("-1000", "mm/m", -math.pi / 4),
        ("24.5", "degC", 24.5),
        ("2.9", "V", 2.9),
    ],
)
def test_to_si(number: str, symbol: str, si: float) -> None:
    assert math.isclose(to_si(Decimal(number), unit_named(symbol)), si, rel_tol=1e-15)


def test_lengths_are_rounded_once() -> None:
    assert to_si(Fraction(2721, 16), UNITS["in"]) == 4.3195875  # 170 1/16 in, by hand


@pytest.mark.parametrize("symbol", list(UNITS))
@given(number=st.fractions(-80, 80, max_denominator=1000))
def test_from_si_undoes_to_si(symbol: str, number: Fraction) -> None:
    unit = UNITS[symbol]
    assert math.isclose(from_si(to_si(number, unit), unit), float(number), rel_tol=1e-14, abs_tol=1e-14)


def test_unknown_unit_lists_the_known_ones() -> None:
    with pytest.raises(UnknownName) as error:
        unit_named("furlong")
    assert {"m", "mm", "in", "deg"} <= set(error.value.known)


def test_every_quantity_has_a_unit() -> None:
    assert {unit.quantity for unit in UNITS.values()} == set(Quantity)
