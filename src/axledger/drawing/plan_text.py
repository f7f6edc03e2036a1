"""The vehicle from above as characters: front to the right, left side up; the current shot from A to B."""

from __future__ import annotations

from dataclasses import dataclass

from axledger.drawing.vehicle_outline import Outline, outline_of
from axledger.job.layout import Unit
from axledger.job.plan import Shot

__all__ = ["plan_text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Signs:
    rail: str
    axle: str
    tyre: str
    station: str
    beam: str


_UNICODE = _Signs(rail="─", axle="│", tyre="▒", station="○", beam="*")
_ASCII = _Signs(rail="-", axle="|", tyre="#", station="o", beam="*")


class _Sheet:
    """A grid of characters with the outline's metres laid over it."""

    def __init__(self, outline: Outline, width: int, height: int) -> None:
        self.cells = [[" "] * width for _ in range(height)]
        self.width, self.height = width, height
        self._outline = outline

    def column(self, x_m: float) -> int:
        low, high = self._outline.x_m
        return min(self.width - 1, max(0, round((x_m - low) / (high - low) * (self.width - 1))))

    def row(self, y_m: float) -> int:
        if y_m == 0.0:
            return self.height // 2
        # counted from the edge inward on either side, so that left and right are drawn alike
        low, high = self._outline.y_m
        reach = max(high, -low)
        inward = max(0, round((reach - abs(y_m)) / (2 * reach) * (self.height - 1)))
        return inward if y_m > 0 else self.height - 1 - inward

    def put(self, x_m: float, y_m: float, sign: str) -> None:
        self.cells[self.row(y_m)][self.column(x_m)] = sign

    def along(self, x_m: tuple[float, float], y_m: float, sign: str) -> None:
        for column in range(self.column(x_m[0]), self.column(x_m[1]) + 1):
            self.cells[self.row(y_m)][column] = sign

    def across(self, x_m: float, y_m: tuple[float, float], sign: str) -> None:
        for row in range(self.row(y_m[1]), self.row(y_m[0]) + 1):
            self.cells[row][self.column(x_m)] = sign

    def beam(self, start: tuple[float, float], end: tuple[float, float], sign: str) -> None:
        columns, rows = (self.column(start[0]), self.column(end[0])), (self.row(start[1]), self.row(end[1]))
        steps = max(abs(columns[1] - columns[0]), abs(rows[1] - rows[0]), 1)
        for step in range(steps + 1):
            column = round(columns[0] + (columns[1] - columns[0]) * step / steps)
            row = round(rows[0] + (rows[1] - rows[0]) * step / steps)
            self.cells[row][column] = sign

    def letter(self, row: int, column: int, letter: str) -> None:
        """Write a letter where nothing is drawn."""
        if self.cells[row][column] == " ":
            self.cells[row][column] = letter

    def lines(self) -> tuple[str, ...]:
        return tuple("".join(row) for row in self.cells)


def plan_text(
    unit: Unit, width: int, height: int, *, shot: Shot | None = None, unicode: bool = True
) -> tuple[str, ...]:
    """Return the plan of ``unit`` as ``height`` lines of exactly ``width`` characters (10 by 5 or more).

    ``shot``, where it is one of this unit, is drawn as a line from A to B; an inclination as A alone. ``L`` and
    ``R`` mark the sides, ``>`` the front.
    """
    signs = _UNICODE if unicode else _ASCII
    outline = outline_of(unit)
    sheet = _Sheet(outline, width, height)
    for rail in outline.rails:
        sheet.along(rail.x_m, rail.y_m, signs.rail)
    for axle in outline.axles:
        sheet.across(axle.x_m, axle.y_m, signs.axle)
    for tyre in outline.tyres:
        sheet.along(tyre.x_m, (tyre.y_m[0] + tyre.y_m[1]) / 2, signs.tyre)
    for place in outline.stations.values():
        sheet.put(*place, signs.station)
    if shot is not None and shot.start in outline.stations:
        start = outline.stations[shot.start]
        if shot.end in outline.stations:
            sheet.beam(start, outline.stations[shot.end], signs.beam)
            sheet.put(*outline.stations[shot.end], "B")
        sheet.put(*start, "A")
    sheet.letter(0, 0, "L")
    sheet.letter(height - 1, 0, "R")
    sheet.letter(height // 2, width - 1, ">")
    return sheet.lines()
