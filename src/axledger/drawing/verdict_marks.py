"""A verdict as a word and a shape. Colour may be added and never stands alone.

Colours: Okabe and Ito, Color Universal Design, 2008 (blue, vermilion, reddish purple, black).
"""

from __future__ import annotations

from dataclasses import dataclass

from axledger.geometry.conformity import Verdict

__all__ = ["MARKS", "Mark", "mark_of", "mark_svg"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """``word`` as the verdict says it, a one-column ``shape``, the same in ``ascii``, ``colour`` as ``#rrggbb``."""

    word: str
    shape: str
    ascii: str
    colour: str

    def text(self, *, unicode: bool) -> str:
        """Return shape and word, such as ``● conforms``."""
        return f"{self.shape if unicode else self.ascii} {self.word}"


MARKS: dict[Verdict, Mark] = {
    Verdict.CONFORMS: Mark(word=Verdict.CONFORMS.value, shape="●", ascii="o", colour="#0072b2"),
    Verdict.FAILS: Mark(word=Verdict.FAILS.value, shape="▲", ascii="X", colour="#d55e00"),
    Verdict.UNDECIDED: Mark(word=Verdict.UNDECIDED.value, shape="◇", ascii="?", colour="#cc79a7"),
    Verdict.UNDETERMINED: Mark(word=Verdict.UNDETERMINED.value, shape="·", ascii=".", colour="#000000"),
    Verdict.NO_LIMIT: Mark(word=Verdict.NO_LIMIT.value, shape="–", ascii="-", colour="#000000"),
}

_OUTLINES = {
    Verdict.CONFORMS: '<circle cx="8" cy="8" r="6"',
    Verdict.FAILS: '<path d="M8 1.5 15 14.5H1z"',
    Verdict.UNDECIDED: '<path d="M8 1 15 8 8 15 1 8z"',
    Verdict.UNDETERMINED: '<circle cx="8" cy="8" r="1.5"',
    Verdict.NO_LIMIT: '<path d="M3 7.5h10v1H3z"',
}


def mark_of(verdict: Verdict) -> Mark:
    """Return the mark of a verdict."""
    return MARKS[verdict]


def mark_svg(verdict: Verdict) -> str:
    """Return the shape as an inline SVG, hidden from screen readers because the word stands beside it."""
    fill = "#ffffff" if verdict is Verdict.UNDECIDED else MARKS[verdict].colour
    return (
        '<svg class="mark" viewBox="0 0 16 16" width="12" height="12" aria-hidden="true" focusable="false">'
        f'{_OUTLINES[verdict]} fill="{fill}" stroke="#000000" stroke-width="1"/></svg>'
    )
