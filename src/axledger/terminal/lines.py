"""Lines of the screen: pieces of text with a style, cut to the width, never wrapped."""

from __future__ import annotations

from rich.cells import cell_len, set_cell_size
from rich.text import Text

from axledger.drawing.printable import one_line

__all__ = ["Canvas", "fit"]


def fit(words: str, width: int) -> str:
    """Return ``words`` in exactly ``width`` columns; what is cut off is marked by ``..``."""
    if cell_len(words) <= width:
        return set_cell_size(words, width)
    return set_cell_size(words, max(0, width - 2)) + ".."[: max(0, min(2, width))]


class Canvas:
    """A screen being written from the top; every line has at most ``width`` columns, and there are ``height``."""

    def __init__(self, width: int, height: int, *, colour: bool, unicode: bool) -> None:
        self.width, self.height = width, height
        self.colour, self.unicode = colour, unicode
        self._lines: list[Text] = []

    def line(self, *pieces: tuple[str, str], cut: bool = True) -> None:
        """Add a line of ``(text, style)`` pieces. Styles are left out without colour."""
        if len(self._lines) >= self.height:
            return
        line = Text(no_wrap=True, overflow="crop", end="")
        left = self.width
        for words, style in pieces:
            shown = one_line(words, unicode=self.unicode)
            if cell_len(shown) > left:
                shown = fit(shown, left) if cut else set_cell_size(shown, left)
            left -= cell_len(shown)
            line.append(shown, style=style if self.colour else "")
        line.rstrip()
        self._lines.append(line)

    def room(self) -> int:
        """Return how many lines are left."""
        return self.height - len(self._lines)

    def text(self) -> Text:
        """Return the lines as one text that neither wraps nor exceeds the screen."""
        return Text("\n", no_wrap=True, overflow="crop", end="").join(self._lines)
