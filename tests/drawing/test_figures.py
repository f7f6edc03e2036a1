from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.drawing.figures import (
    Units,
    direction_words,
    figure_of,
    limit_numbers,
    limits_words,
    quantity_of_key,
    reading_words,
    rounded,
    short_quantity,
    spread_words,
)

MM = Units()


@pytest.mark.parametrize(
    ("value_deg", "u_deg", "text"),
    [
        # JCGM 100:2008, 7.2.6: at most two significant digits of U, the value to the same place; computed by hand
        (0.0314, 0.0181, "+0.031 ± 0.036 deg"),
        (-1.2, 0.0498, "-1.20 ± 0.10 deg"),
        (0.001, 0.6, "0.0 ± 1.2 deg"),
        (-0.0001, 0.02, "0.000 ± 0.040 deg"),
        (12.34, 6.1, "+12 ± 12 deg"),
    ],
)
def test_value_has_the_digits_that_its_uncertainty_allows(
    make_result: Any, value_deg: float, u_deg: float, text: str
) -> None:
    figure = figure_of(make_result(math.radians(value_deg), math.radians(u_deg)), MM)
    assert figure is not None
    assert figure.text() == text


def test_a_length_that_is_no_deviation_has_no_sign(make_result: Any) -> None:
    result = make_result(3.6926, 0.00165, key="tractor.drive.wheelbase.left", unit="mm")
    figure = figure_of(result, MM)
    assert figure is not None
    assert figure.text(unicode=False) == "3692.6 +/- 3.3 mm"
    assert direction_words(result, MM) == ""


def test_what_is_not_determined_has_no_figure(make_result: Any) -> None:
    assert figure_of(make_result(None, 0.1), MM) is None
    assert direction_words(make_result(None, 0.1), MM) == ""


@given(
    value=st.floats(-0.5, 0.5),
    u=st.floats(1e-6, 0.05),
    unit=st.sampled_from(["deg", "mm"]),
    angle=st.sampled_from(["deg", "mm/m", "arcmin"]),
    length=st.sampled_from(["mm", "in"]),
)
def test_printed_numbers_parse_back_to_half_a_digit(
    make_result: Any, value: float, u: float, unit: str, angle: Any, length: Any
) -> None:
    key = "t.a.offset" if unit == "mm" else "t.a.squareness"
    figure = figure_of(make_result(value, u, key=key, unit=unit), Units(angle=angle, length=length))
    assert figure is not None
    # the factors are retyped here so that a wrong conversion cannot agree with itself
    per = {
        "deg": (math.degrees(value), math.degrees(u)),
        "arcmin": (math.degrees(value) * 60, math.degrees(u) * 60),
        "mm/m": (math.tan(value) * 1000, 1000 * u / math.cos(value) ** 2),
        "mm": (value * 1000, u * 1000),
        "in": (value / 0.0254, u / 0.0254),
    }[length if unit == "mm" else angle]
    half = Decimal(5).scaleb(-figure.decimals - 1) * Decimal("1.000001")
    assert abs(Decimal(figure.value) - Decimal(per[0])) <= half
    assert abs(Decimal(figure.expanded) - Decimal(2 * per[1])) <= half
    assert Decimal(figure.value).as_tuple().exponent == Decimal(figure.expanded).as_tuple().exponent
    if 0 < figure.decimals < 6:
        assert len(Decimal(figure.expanded).normalize().as_tuple().digits) <= 2
        assert Decimal(figure.expanded) >= Decimal(10).scaleb(-figure.decimals)


@given(value=st.floats(-0.2, 0.2), u=st.floats(1e-5, 1e-2))
def test_words_and_printed_sign_never_disagree(make_result: Any, value: float, u: float) -> None:
    result = make_result(value, u)
    figure, words = figure_of(result, MM), direction_words(result, MM)
    assert figure is not None
    assert words == {"+": "points left", "-": "points right"}.get(figure.value[0], "")


@pytest.mark.parametrize(
    ("key", "positive", "negative", "short"),
    [
        ("t.steer.toe.total", "toe-in", "toe-out", "in"),
        ("t.steer.toe.right", "toe-in", "toe-out", "in"),
        ("t.steer.steering", "points left", "points right", "left"),
        ("t.d.thrust", "points left", "points right", "left"),
        ("t.d.parallelism", "points left", "points right", "left"),
        ("t.d.offset", "to the left", "to the right", "left"),
        ("t.d.spacing", "longer left", "longer right", "left"),
        ("t.d.wheelbase.difference", "longer left", "longer right", "left"),
    ],
)
def test_every_kind_says_its_direction(make_result: Any, key: str, positive: str, negative: str, short: str) -> None:
    assert direction_words(make_result(0.1, 0.001, key=key), MM) == positive
    assert direction_words(make_result(-0.1, 0.001, key=key), MM) == negative
    assert direction_words(make_result(0.1, 0.001, key=key), MM, short=True) == short
    assert len(short_quantity(make_result(0.1, 0.001, key=key))) <= 15
    assert quantity_of_key(key) == key.split(".", 2)[2]


def test_an_unknown_quantity_is_named_by_the_result_itself(make_result: Any) -> None:
    assert short_quantity(make_result(0.1, 0.01, key="t.d.toe.length", unit="mm")) == "something"


def test_limits_are_written_without_needless_zeros(make_result: Any) -> None:
    lower, upper = math.radians(-0.2), math.radians(0.25)
    result = make_result(0.0, 1e-3, lower=lower, upper=upper)
    assert limit_numbers(result, MM) == ("-0.2", "+0.25")
    assert limits_words(result, MM) == "-0.2 to +0.25 deg"
    assert limits_words(make_result(0.0, 1e-3, upper=0.008, unit="mm", key="t.d.offset"), MM) == "at most +8 mm"
    assert limits_words(make_result(0.0, 1e-3, lower=lower), Units(angle="arcmin")) == "at least -12 min"
    assert limits_words(make_result(0.0, 1e-3), MM) == "no limit"


def test_a_reading_is_shown_in_the_unit_of_the_shop() -> None:
    assert reading_words(4.318, "m", MM) == "4318 mm"
    assert reading_words(4.3184, "m", MM) == "4318.4 mm"
    assert reading_words(4.318, "mm", Units(length="in")) == "170 in"  # 170 in is 4.318 m by definition of the inch
    assert reading_words(math.radians(-1.27), "deg", MM) == "-1.27 deg"
    assert reading_words(12.5, "degC", MM) == "12.5 degC"
    assert spread_words(0.0007, "mm") == "0.70 mm"


def test_a_zero_never_has_a_sign() -> None:
    assert rounded(-0.0004, 3, signed=True) == "0.000"
    assert rounded(0.0004, 3, signed=True) == "0.000"
