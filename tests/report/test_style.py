from __future__ import annotations

import re

from axledger.report.style import STYLE


def _luminance(colour: str) -> float:
    digits = colour if len(colour) == 6 else "".join(letter * 2 for letter in colour)
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_every_text_colour_stands_out_from_the_white_page() -> None:
    # WCAG 2.1, success criterion 1.4.3 (contrast of text 4.5 to 1) and the formula of its relative luminance
    colours = re.findall(r"(?<![-\w])color: #([0-9a-f]{3,6})", STYLE)
    assert colours
    assert all(1.05 / (_luminance(colour) + 0.05) >= 4.5 for colour in colours)


def test_the_style_asks_for_nothing_outside() -> None:
    assert not re.search(r"url\(|@import|@font-face|http", STYLE)
    assert "size: A4" in STYLE
