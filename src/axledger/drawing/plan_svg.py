"""The vehicle from above as SVG: front to the right, left side up. Lines and outlines only, no results."""

from __future__ import annotations

from html import escape

from axledger.drawing.printable import printable
from axledger.drawing.vehicle_outline import Outline, outline_of
from axledger.job.layout import Unit
from axledger.job.plan import Shot

__all__ = ["plan_svg"]

_INK, _PALE = "#111111", "#666666"


def plan_svg(unit: Unit, *, shot: Shot | None = None, width: int = 680, names: bool = True) -> str:
    """Return the plan of ``unit`` as one inline SVG element ``width`` pixels wide.

    ``shot`` is drawn as a dashed line from A to B. ``names`` writes the station names beside their dots.
    """
    return _Drawing(outline_of(unit), width).svg(unit, shot, names=names)


class _Drawing:
    def __init__(self, outline: Outline, width: int) -> None:
        self.outline = outline
        self.width = width
        self.scale = width / (outline.x_m[1] - outline.x_m[0])
        self.height = (outline.y_m[1] - outline.y_m[0]) * self.scale + 36  # room for the words below

    def x(self, x_m: float) -> float:
        return (x_m - self.outline.x_m[0]) * self.scale

    def y(self, y_m: float) -> float:
        return (self.outline.y_m[1] - y_m) * self.scale

    def svg(self, unit: Unit, shot: Shot | None, *, names: bool) -> str:
        drawn = [*self._frame(), *self._stations(names=names), *self._axle_names(), *self._words()]
        if shot is not None:
            drawn += self._shot(shot)
        label = escape(f"{printable(unit.name)} from above, front to the right, left side up")
        return (
            f'<svg class="plan" viewBox="0 0 {self.width} {self.height:.0f}" width="{self.width}" '
            f'height="{self.height:.0f}" role="img" aria-label="{label}" font-family="sans-serif" font-size="11">'
            f"{''.join(drawn)}</svg>"
        )

    def _frame(self) -> list[str]:
        rails = [
            f'<path d="M{self.x(rail.x_m[0]):.1f} {self.y(rail.y_m):.1f}H{self.x(rail.x_m[1]):.1f}" '
            f'stroke="{_PALE}" stroke-width="2"/>'
            for rail in self.outline.rails
        ]
        axles = [
            f'<path d="M{self.x(axle.x_m):.1f} {self.y(axle.y_m[1]):.1f}V{self.y(axle.y_m[0]):.1f}" '
            f'stroke="{_INK}" stroke-width="2"/>'
            for axle in self.outline.axles
        ]
        tyres = [
            f'<rect x="{self.x(tyre.x_m[0]):.1f}" y="{self.y(tyre.y_m[1]):.1f}" '
            f'width="{(tyre.x_m[1] - tyre.x_m[0]) * self.scale:.1f}" '
            f'height="{(tyre.y_m[1] - tyre.y_m[0]) * self.scale:.1f}" '
            f'rx="4" fill="#ffffff" stroke="{_INK}" stroke-width="1.5"/>'
            for tyre in self.outline.tyres
        ]
        return rails + axles + tyres

    def _stations(self, *, names: bool) -> list[str]:
        drawn: list[str] = []
        for name, (x_m, y_m) in self.outline.stations.items():
            x, y = self.x(x_m), self.y(y_m)
            drawn.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="#ffffff" stroke="{_INK}"/>')
            if names:
                above = y - 6 if y_m > 0 else y + 14
                drawn.append(_text(x, above, name, size=9, fill=_INK))
        return drawn

    def _axle_names(self) -> list[str]:
        return [_text(self.x(axle.x_m), self.height - 20, axle.name, fill=_INK) for axle in self.outline.axles]

    def _words(self) -> list[str]:
        y = self.height - 5
        return [
            _text(4, y, "rear", anchor="start", fill=_INK),
            _text(self.width - 4, y, "front", anchor="end", fill=_INK),
            _text(self.width / 2, y, "left side above, right side below", fill=_INK),
        ]

    def _shot(self, shot: Shot) -> list[str]:
        start, end = self.outline.stations.get(shot.start), self.outline.stations.get(shot.end)
        if start is None:
            return []
        drawn = [_lettered(self.x(start[0]), self.y(start[1]), "A")]
        if end is not None:
            line = f'<path d="M{self.x(start[0]):.1f} {self.y(start[1]):.1f}L{self.x(end[0]):.1f} {self.y(end[1]):.1f}"'
            drawn.insert(0, f'{line} stroke="#0072b2" stroke-width="2" stroke-dasharray="6 4"/>')
            drawn.append(_lettered(self.x(end[0]), self.y(end[1]), "B"))
        return drawn


def _lettered(x: float, y: float, letter: str) -> str:
    ring = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="#ffffff" stroke="{_INK}" stroke-width="2"/>'
    return ring + _text(x, y + 4, letter, fill=_INK)


def _text(x: float, y: float, words: str, *, size: int = 11, anchor: str = "middle", fill: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" fill="{fill}">'
        f"{escape(printable(words))}</text>"
    )
