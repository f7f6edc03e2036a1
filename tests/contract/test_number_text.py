from __future__ import annotations

import math
from fractions import Fraction

import pytest

from axledger.contract.errors import BadInput
from axledger.contract.number_text import DecimalMark, NumberText, parse_angle, parse_length, plain_number
from axledger.contract.quantity import UNITS

# 4318 mm = 170 in = 14 ft 2 in exactly; a sixteenth of an inch is 1.5875 mm, half an inch 12.7 mm
# (inch = 25.4 mm: International Yard and Pound agreement, 1959; the rest by hand).
LENGTHS_MM = [
    ("4.318 m", "4318"),
    ("4.318m", "4318"),
    ("4318 mm", "4318"),
    ("431.8 cm", "4318"),
    ("170 in", "4318"),
    ('170"', "4318"),
    ("170 inches", "4318"),
    ("14' 2 1/16\"", "4319.5875"),
    ("14ft 2-1/16in", "4319.5875"),
    ("14 ft 2 1/16 in", "4319.5875"),
    ("14'-2 1/16\"", "4319.5875"),
    ("14' 1/2\"", "4279.9"),
    ("14' 2.5\"", "4330.7"),
    ("14' 2\"", "4318"),
    ('170 1/16"', "4319.5875"),
    ('-170 1/16"', "-4319.5875"),
    ("14\u2032 2 1\u204416\u2033", "4319.5875"),
    ("14.5 ft", "4419.6"),
    ("14'", "4267.2"),
    ("4\u00a0318 mm", "4318"),
    ("\u22124.318 m", "-4318"),
    ("- 4.318 m", "-4318"),
    ("4,318.2 mm", "4318.2"),
    ("0004.318 M", "4318"),
]


@pytest.mark.parametrize(("text", "mm"), LENGTHS_MM)
def test_length_is_exact(text: str, mm: str) -> None:
    assert parse_length(text).exact_si == Fraction(mm) / 1000


@pytest.mark.parametrize(
    "text",
    [
        "14' 13\"",
        "14' 12\"",
        "14' 2 1/17\"",
        "14' 2 1/1\"",
        "14' 2 17/16\"",
        "14' 2.5 1/16\"",
        "14' 2",
        "14'\"",
        "14' 2 1/16\" x",
        "170 1/16",
        "4.318 m 3",
        "4.318 m2",
        "4.318",
        "4.318 furlongs",
        "4..318 m",
        "4. m",
        ".5 m",
        "",
        " ",
        "m",
        "nan m",
        "inf m",
        "4_318 mm",
        "1e5 mm",
        "\uff14.3 m",
        "2\u00b2 m",
        "4 318 mm",
        "+-4 m",
    ],
)
def test_length_is_refused_whole(text: str) -> None:
    with pytest.raises(BadInput) as error:
        parse_length(text)
    assert all((error.value.what, error.value.found, error.value.allowed, error.value.do))


@pytest.mark.parametrize(
    ("text", "mark", "question"),
    [
        ("4,318 m", None, "4.318 or 4318?"),
        ("4,318 m", ".", "4.318 or 4318?"),
        ("1,24 m", None, "1.24 or 124?"),
        ("4.318 m", ",", "4.318 or 4318?"),
    ],
)
def test_mark_that_could_be_either_is_asked_about(text: str, mark: DecimalMark | None, question: str) -> None:
    with pytest.raises(BadInput) as error:
        parse_length(text, mark=mark)
    assert error.value.what == question


def test_comma_counts_where_the_field_says_so() -> None:
    assert parse_length("4,318 m", mark=",").exact_si == Fraction("4.318")
    assert parse_length("4.318,2 mm", mark=",").exact_si == Fraction("4.3182")


def test_bare_number_takes_the_unit_of_the_field_only_if_there_is_one() -> None:
    assert parse_length("170", unit="in").exact_si == Fraction("4.318")
    assert parse_length("170 mm", unit="in").exact_si == Fraction("0.17")
    with pytest.raises(BadInput, match="170"):
        parse_length("170")


@pytest.mark.parametrize(
    ("text", "number", "step", "unit"),
    [
        ("1.27 deg", "1.27", "0.01", "deg"),
        ("1.27\u00b0", "1.27", "0.01", "deg"),
        ("-0.32\u00ba", "-0.32", "0.01", "deg"),
        ("22.2 mm/m", "22.2", "0.1", "mm/m"),
        ("2.2 %", "2.2", "0.1", "%"),
        ("76 arcmin", "76", "1", "arcmin"),
        ("22'", "22", "1", "arcmin"),
        ("12 mrad", "12", "1", "mrad"),
        ("-0\u00b022'12\"", "-0.37", Fraction(1, 3600), "deg"),  # by hand: 22/60 + 12/3600 = 0.37
        ("0\u00b0 22.2\u2032", "0.37", Fraction(1, 600), "deg"),
        ("\u22121\u00b0 16' 12\u2033", "-1.27", Fraction(1, 3600), "deg"),
        ("-0 deg 22 min 12 sec", "-0.37", Fraction(1, 3600), "deg"),
    ],
)
def test_angle(text: str, number: str, step: str | Fraction, unit: str) -> None:
    assert parse_angle(text) == NumberText(number=Fraction(number), step=Fraction(step), unit=unit)


@pytest.mark.parametrize(
    "text", ["0\u00b060'", "0\u00b022'60\"", "0\u00b022.5'12\"", "1,27\u00b0", "1.27", "1.27 m", "1.27\u00b0 x"]
)
def test_angle_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        parse_angle(text)


def test_si_of_degrees_and_slopes() -> None:
    assert math.isclose(parse_angle("-0\u00b022'12\"").si, math.radians(-0.37), rel_tol=1e-15)
    assert math.isclose(parse_angle("1000 mm/m").si, math.pi / 4, rel_tol=1e-15)
    with pytest.raises(BadInput, match="slope"):
        _ = parse_angle("2 %").exact_si
    with pytest.raises(BadInput, match="slope"):
        parse_angle("2 deg").in_unit(UNITS["mm/m"])


def test_other_unit_is_exact_and_comes_back_the_same() -> None:
    """Switching the display to inches and back changes no bit of the value."""
    typed = parse_length("4318 mm")
    inches = typed.in_unit(UNITS["in"])
    assert inches.number == 170
    assert inches.in_unit(UNITS["mm"]) == typed
    assert inches.si == typed.si


@pytest.mark.parametrize(
    ("text", "mark", "expected"),
    [
        ("4.318", ".", ("4.318", "0.001")),
        ("+4", ".", ("4", "1")),
        ("-0.0", ".", ("0", "0.1")),
        ("4,318.2", ".", ("4318.2", "0.1")),
        ("4.318,2", ",", ("4318.2", "0.1")),
        ("4,31,8.2", ".", None),
        ("4318,2", ".", None),
        ("4.318", ",", None),
        ("1e5", ".", None),
        ("1_0", ".", None),
        ("\u0664", ".", None),
        ("", ".", None),
        ("4\n", ".", None),
    ],
)
def test_plain_number(text: str, mark: DecimalMark, expected: tuple[str, str] | None) -> None:
    assert plain_number(text, mark) == (expected and (Fraction(expected[0]), Fraction(expected[1])))
