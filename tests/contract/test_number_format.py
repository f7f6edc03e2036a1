from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract import number_format as show
from axledger.contract.errors import BadInput
from axledger.contract.number_text import DENOMINATORS, NumberText, parse_angle, parse_length


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        # by hand from 25.4 mm to the inch; 4.3195875 m is 170 1/16 in
        (show.format_metres(4.318), "4.3180 m"),
        (show.format_mm(4.318), "4318.0 mm"),
        (show.format_mm(4.318, decimals=0), "4318 mm"),
        (show.format_mm(4.3182, mark=","), "4318,2 mm"),
        (show.format_mm(-0.00001), "0.0 mm"),
        (show.format_inches(4.3195875), "170.062 in"),  # 170.0625 exactly, half to even
        (show.format_inch_fraction(4.3195875), '170 1/16"'),
        (show.format_inch_fraction(4.3195875, feet=True), "14' 2 1/16\""),
        (show.format_inch_fraction(4.2799, feet=True), "14' 1/2\""),
        (show.format_inch_fraction(4.2672, feet=True), "14' 0\""),
        (show.format_inch_fraction(0.0), '0"'),
        (show.format_inch_fraction(-0.0127), '-1/2"'),
        (show.format_inch_fraction(0.3047, feet=True), "1' 0\""),  # 11.996 in rounds up into the next foot
        (show.format_inch_fraction(Fraction("0.000396875"), denominator=64), '1/64"'),
        (show.format_degrees(math.radians(1.27)), "1.27°"),
        (show.format_degrees_minutes(math.radians(-0.37)), "-0° 22.2'"),
        (show.format_degrees_minutes(math.radians(0.9999)), "1° 0.0'"),
        (show.format_slope(math.pi / 4), "1000.0 mm/m"),
        (show.format_slope(-math.pi / 4, decimals=0), "-1000 mm/m"),
    ],
)
def test_shown(shown: str, expected: str) -> None:
    assert shown == expected


@pytest.mark.parametrize("denominator", [0, 1, 3, 10, 128])
def test_denominators_that_no_rule_has(denominator: int) -> None:
    with pytest.raises(BadInput, match="fraction"):
        show.format_inch_fraction(1.0, denominator=denominator)


LENGTH_STYLES: list[tuple[Callable[[float], str], Callable[[str], NumberText], float]] = [
    (show.format_metres, parse_length, 0.00005),
    (show.format_mm, parse_length, 0.00005),
    (partial(show.format_mm, mark=","), partial(parse_length, mark=","), 0.00005),
    (show.format_inches, parse_length, 0.0000127),
    *((partial(show.format_inch_fraction, denominator=d), parse_length, 0.0127 / d) for d in DENOMINATORS),
    *((partial(show.format_inch_fraction, denominator=d, feet=True), parse_length, 0.0127 / d) for d in DENOMINATORS),
]
ANGLE_STYLES: list[tuple[Callable[[float], str], Callable[[str], NumberText], float]] = [
    (show.format_degrees, parse_angle, math.radians(0.005)),
    (partial(show.format_degrees, mark=","), partial(parse_angle, mark=","), math.radians(0.005)),
    (show.format_degrees_minutes, parse_angle, math.radians(0.05 / 60)),
    (show.format_slope, parse_angle, 0.00005),
]


@pytest.mark.parametrize("style", range(len(LENGTH_STYLES)))
@given(value_m=st.floats(-100, 100))
def test_shown_length_can_be_typed_back(style: int, value_m: float) -> None:
    shown, parse, half_step_m = LENGTH_STYLES[style]
    typed = parse(shown(value_m))
    assert abs(typed.si - value_m) <= half_step_m * (1 + 1e-9) + 1e-12
    assert shown(typed.si) == shown(value_m)


@pytest.mark.parametrize("style", range(len(ANGLE_STYLES)))
@given(value_rad=st.floats(-0.5, 0.5))
def test_shown_angle_can_be_typed_back(style: int, value_rad: float) -> None:
    shown, parse, half_step_rad = ANGLE_STYLES[style]
    typed = parse(shown(value_rad))
    assert abs(typed.si - value_rad) <= half_step_rad * (1 + 1e-9) + 1e-12
    assert shown(typed.si) == shown(value_rad)
