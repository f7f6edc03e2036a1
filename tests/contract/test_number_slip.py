from __future__ import annotations

import pytest

from axledger.contract.number_slip import in_words, likely_slips
from axledger.contract.number_text import parse_length


@pytest.mark.parametrize(
    ("text", "slip"),
    [
        # the slips are those of field cases of our own; 4318 mm is expected, and 170 in is the same length
        ("43.18 m", "decimal point: 10 times too long, 4318.0 mm would fit"),
        ("431.8 mm", "decimal point: 10 times too short"),
        ("4.318 mm", "decimal point: 1000 times too short"),
        ("4381 mm", "two digits swapped: 4318 mm would fit"),
        ("3418 mm", "two digits swapped: 4318 mm would fit"),
        ("3.418 m", "two digits swapped: 4.318 m would fit"),
        ("170 mm", "another unit: 170 in = 4318.0 mm, did you mean in?"),
        ("4318 in", "another unit: 4318 mm"),
        ('4318 1/2"', "another unit"),
    ],
)
def test_slip_is_named(text: str, slip: str) -> None:
    assert any(slip in found for found in likely_slips(parse_length(text), 4.318, within_m=0.005))


@pytest.mark.parametrize("text", ["4318 mm", "170 in", "4.320 m", "5000 mm", "0 mm"])
def test_no_slip_where_it_fits_or_nothing_explains_it(text: str) -> None:
    assert likely_slips(parse_length(text), 4.318, within_m=0.005) == ()


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (0, "zero"),
        (19, "nineteen"),
        (40, "forty"),
        (-81, "minus eighty-one"),
        (100, "one hundred"),
        (4318, "four thousand three hundred eighteen"),
        (170_012, "one hundred seventy thousand twelve"),
    ],
)
def test_in_words(number: int, words: str) -> None:
    assert in_words(number) == words
