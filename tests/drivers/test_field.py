from __future__ import annotations

import math
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.frame import DeviceFault, Unreadable, Value
from axledger.contract.profile import ValueField
from axledger_drivers.decoders.field import decoded, read_value

LINE = re.compile("(?P<n>[^ ]*)(?: (?P<u>.*))?")


def read(text: str, **field: Any) -> Value | DeviceFault | Unreadable | None:
    match = LINE.fullmatch(text)
    assert match is not None
    basis: dict[str, Any] = {"group": "n", "quantity": "length"}
    unit = {} if "unit_group" in field or "unit" in field else {"unit": "mm"}
    return read_value(ValueField.model_validate(basis | unit | field), match)


def si(text: str, **field: Any) -> float:
    value = read(text, **field)
    assert isinstance(value, Value)
    return value.si


def test_scale_sign_and_resolution() -> None:
    value = read("43182", scale="0.1", negate=True)
    assert isinstance(value, Value)
    assert (value.si, value.resolution_si, value.text, value.unit) == (-4.3182, 0.0001, "43182", "mm")


def test_range_is_that_of_the_device_before_the_sign_is_turned() -> None:
    assert si("100", negate=True, least="50", most="200") == -0.1
    assert isinstance(read("49", least="50"), Unreadable)
    assert isinstance(read("201", most="200"), Unreadable)


def test_unit_as_sent() -> None:
    table: dict[str, Any] = {"unit_group": "u", "units": {"M": "m", "″": "in"}}
    assert si("4.318 M", **table) == 4.318
    assert si("170 \xe2\x80\xb3", **table) == 4.318  # the bytes of a double prime, seen as Latin-1
    assert isinstance(read("4.318 F", **table), Unreadable)


def test_reserved_as_text_and_as_number() -> None:
    assert read("0.000", reserved=["0"]) == DeviceFault(code="0.000", words="no target")
    assert read("", reserved=[""], reserved_words="nothing") == DeviceFault(code="", words="nothing")
    assert isinstance(read(""), Unreadable)


def test_hex() -> None:
    assert si("420F", digits="hex-low-first") == 3.906  # by hand: 0x0F42 = 3906
    assert si("0F42", digits="hex") == 3.906
    assert isinstance(read("F42", digits="hex-low-first"), Unreadable)
    assert isinstance(read("0x1", digits="hex"), Unreadable)


def test_slope_resolution_is_a_step_of_the_angle() -> None:
    value = read("1000.0", quantity="inclination", unit="mm/m")
    assert isinstance(value, Value)
    # by hand: at 45 degrees d(atan t)/dt is 1/2, and one step is 0.1 mm/m
    assert math.isclose(value.resolution_si, 0.00005, rel_tol=1e-12)
    assert math.isclose(value.si, math.pi / 4, rel_tol=1e-15)


def test_a_degree_sign_never_turns_into_another_quantity() -> None:
    assert isinstance(read("24.5\xb0", quantity="temperature", unit="degC"), Unreadable)


@pytest.mark.parametrize(
    "text",
    ["nan", "inf", "-inf", "4_318", "1e5", "1E5", "\u0664", "\uff14", "\u00b2", "0x10", "4.", ".5", "+", "", "--1"],
)
def test_what_float_would_take_is_refused(text: str) -> None:
    assert isinstance(read(text), Unreadable)


@given(st.text(alphabet=st.characters(min_codepoint=0x21, max_codepoint=0xFF), max_size=8))
def test_any_text_gives_a_finite_value_or_a_reason(text: str) -> None:
    for quantity, unit in [("length", "in"), ("inclination", "deg"), ("inclination", "%")]:
        outcome = read(text, quantity=quantity, unit=unit)
        assert isinstance(outcome, Unreadable) or (isinstance(outcome, Value) and math.isfinite(outcome.si))


def test_decoded_takes_utf8_where_it_is_utf8() -> None:
    assert decoded("\xc2\xb0") == "°"
    assert decoded("\xb0") == "°"
    assert decoded("\u2032") == "\u2032"  # no Latin-1 at all
