"""A result beside its limits: the limits as an interval, the value as a dot with a whisker of ± U (95 %).

The scale is the result's own: two limits take the middle half of the width, a single limit and zero do the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from axledger.drawing.figures import Units, figure_of, limits_words
from axledger.job.solution import Result

__all__ = ["Scale", "scale_of", "whisker_svg", "whisker_text"]


@dataclass(frozen=True, slots=True)
class Scale:
    """The stretch that is drawn, in SI: from ``low`` to ``high``."""

    low: float
    high: float

    def share(self, value: float) -> float:
        """Return where ``value`` lies: 0 at the left end, 1 at the right; outside 0 to 1 it is off the drawing."""
        return (value - self.low) / (self.high - self.low)


def scale_of(result: Result) -> Scale | None:
    """Return the scale of a result, or ``None`` where it has no limit to be drawn against."""
    lower, upper = result.lower, result.upper
    if lower is None and upper is None:
        return None
    if lower is None or upper is None:
        only = (lower if upper is None else upper) or 0.0
        # zero is the other end of the middle half; a limit of zero takes its width from the uncertainty instead
        reach = abs(only) or 2.0 * result.forecast_u95
        lower, upper = (only, only + reach) if upper is None else (only - reach, only)
    half = (upper - lower) / 2.0
    return Scale(lower - half, upper + half)


def whisker_text(result: Result, width: int, *, unicode: bool = True) -> str:
    """Return the drawing as exactly ``width`` characters (5 or more): ``  [··●─·]  ``.

    The interval is dotted between its brackets; ``<`` or ``>`` stands for a value off the drawing.
    """
    scale = scale_of(result)
    if scale is None or width < 5:
        return "".ljust(width)
    cells = [" "] * width
    left = _column(scale, result.lower, width) if result.lower is not None else -1
    right = _column(scale, result.upper, width) if result.upper is not None else width
    cells[left + 1 : right] = ["·" if unicode else "."] * (right - left - 1)
    if result.value is not None and result.u95 is not None:
        _draw_value(cells, result, scale, unicode=unicode)
    dot = _dot_column(result, scale, width, left, right)
    for column, bracket in ((left, "["), (right, "]")):
        if 0 <= column < width:
            cells[column] = bracket
    if dot is not None:
        off = "<" if dot < 0 else ">" if dot >= width else ("●" if unicode else "o")
        cells[min(max(dot, 0), width - 1)] = off
    return "".join(cells)


def _column(scale: Scale, value: float, width: int) -> int:
    return round(scale.share(value) * (width - 1))


def _draw_value(cells: list[str], result: Result, scale: Scale, *, unicode: bool) -> None:
    value, reach = result.value or 0.0, result.u95 or 0.0
    first = max(0, _column(scale, value - reach, len(cells)))
    last = min(len(cells) - 1, _column(scale, value + reach, len(cells)))
    for column in range(first, last + 1):
        cells[column] = "─" if unicode else "-"


def _dot_column(result: Result, scale: Scale, width: int, left: int, right: int) -> int | None:
    """Return the dot's column, moved off a bracket to the side on which the value really lies."""
    if result.value is None:
        return None
    column = _column(scale, result.value, width)
    if column == left and result.lower is not None:
        return column + (1 if result.value >= result.lower else -1)
    if column == right and result.upper is not None:
        return column + (-1 if result.value <= result.upper else 1)
    return column


def whisker_svg(result: Result, units: Units, *, width: int = 180, height: int = 22) -> str:
    """Return the drawing as an inline SVG with its numbers as accessible title; black and white only."""
    scale = scale_of(result)
    if scale is None:
        return ""
    figure = figure_of(result, units)
    title = f"{figure.text() if figure is not None else 'not determined'}; limits {limits_words(result, units)}"
    middle = height / 2
    parts = [_interval_svg(result, scale, width, middle)]
    if result.value is not None and result.u95 is not None:
        parts.append(_value_svg(result.value, result.u95, scale, width, middle))
    return (
        f'<svg class="whisker" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'aria-label="{escape(title)}">{"".join(parts)}</svg>'
    )


def _interval_svg(result: Result, scale: Scale, width: int, middle: float) -> str:
    left = scale.share(result.lower) * width if result.lower is not None else 0.0
    right = scale.share(result.upper) * width if result.upper is not None else float(width)
    drawn = f'<path d="M{left:.1f} {middle:.1f}H{right:.1f}" stroke="#555555" stroke-width="1" stroke-dasharray="1 3"/>'
    for at, inward, there in ((left, 4, result.lower), (right, -4, result.upper)):
        if there is not None:
            drawn += (
                f'<path d="M{at + inward:.1f} {middle - 8:.1f}H{at:.1f}V{middle + 8:.1f}H{at + inward:.1f}" '
                'fill="none" stroke="#000000" stroke-width="1.5"/>'
            )
    return drawn


def _value_svg(value: float, reach: float, scale: Scale, width: int, middle: float) -> str:
    place = scale.share(value) * width
    if not 4 <= place <= width - 4:  # off the drawing: an arrowhead at the edge says on which side
        tip, back = (1.0, 9.0) if place < 4 else (width - 1.0, width - 9.0)
        return f'<path d="M{tip:.1f} {middle:.1f} {back:.1f} {middle - 5:.1f}V{middle + 5:.1f}z" fill="#000000"/>'
    first = min(max(scale.share(value - reach) * width, 0.0), width)
    last = min(max(scale.share(value + reach) * width, 0.0), width)
    return (
        f'<path d="M{first:.1f} {middle:.1f}H{last:.1f}" stroke="#000000" stroke-width="2"/>'
        f'<circle cx="{place:.1f}" cy="{middle:.1f}" r="3.5" fill="#000000"/>'
    )
