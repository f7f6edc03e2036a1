from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from axledger.drawing.printable import one_line, printable


def test_an_escape_sequence_is_written_out() -> None:
    assert printable("a\x1b[2Jb") == "a\\x1b[2Jb"


def test_a_direction_mark_and_a_line_break_are_written_out() -> None:
    assert printable("4318\u202e mm\n") == "4318\\u202e mm\\x0a"


def test_plain_text_stays_as_it_is() -> None:
    assert printable("Anhänger 3, 12° ± 1") == "Anhänger 3, 12° ± 1"


def test_ascii_spells_the_signs_that_have_a_spelling() -> None:
    assert one_line("±°≤→é", unicode=False) == "+/-deg<=->?"


@given(st.text())
def test_nothing_hidden_survives_whatever_the_text(text: str) -> None:
    assert all(unicodedata.category(letter)[0] not in "C" for letter in printable(text))
    assert one_line(text, unicode=False).isascii()
