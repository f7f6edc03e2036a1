from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from axledger.terminal.lines import Canvas, fit


@given(st.text(max_size=60), st.integers(0, 30))
def test_a_fitted_text_has_exactly_the_width(words: str, width: int) -> None:
    assert cell_len(fit(words, width)) == width


def test_what_is_cut_is_marked() -> None:
    assert fit("squareness", 8) == "square.."


@given(st.lists(st.text(max_size=40), max_size=6), st.integers(5, 40))
def test_no_line_is_wider_and_no_screen_higher_than_asked(pieces: list[str], width: int) -> None:
    canvas = Canvas(width, 4, colour=False, unicode=True)
    for _ in range(6):
        canvas.line(*((piece, "bold") for piece in pieces))
    lines = canvas.text().plain.split("\n")
    assert len(lines) == 4
    assert all(cell_len(line) <= width for line in lines)


def test_without_colour_nothing_has_a_style() -> None:
    canvas = Canvas(20, 2, colour=False, unicode=True)
    canvas.line(("held", "bold red"))
    assert not any(str(span.style) for span in canvas.text().spans)
