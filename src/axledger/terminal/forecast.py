"""What a plan is worth before the first shot."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from axledger.contract.quantity import UNITS, from_si
from axledger.drawing.figures import axle_reference
from axledger.drawing.printable import one_line
from axledger.job.solution import Result
from axledger.terminal.lines import fit

__all__ = ["forecast_lines"]

_NOTE = "share: how much of the tolerance can be shown to conform with that U; nowhere: it cannot be decided"


def forecast_lines(results: Sequence[Result], *, width: int = 100, unicode: bool = True) -> tuple[str, ...]:
    """Return by axle each result with the U it will have, its limits, and the share that can be decided.

    No line is longer than ``width`` (80 or more).
    """
    name_width = min(50, width - 45)
    lines = [_row("what the plan will give", "U (95 %)", "limits", "share", name_width)]
    for prefix in dict.fromkeys(_prefix(result) for result in results):
        mine = [result for result in results if _prefix(result) == prefix]
        lines.append(fit(f"{mine[0].name.split(': ')[0]}, against {axle_reference(mine)}", width).rstrip())
        lines += [line for result in mine for line in _rows(result, name_width)]
    if any(result.zone_left is not None for result in results):
        lines += textwrap.wrap(_NOTE, width, subsequent_indent="  ")
    return tuple(one_line(line, unicode=unicode) for line in lines)


def _prefix(result: Result) -> str:
    return ".".join(result.key.split(".")[:2])


def _rows(result: Result, name_width: int) -> list[str]:
    """Return a result's row; a name too long for its column begins on lines of its own and is never cut."""
    name, u95, limits, share = _cells(result)
    *before, last = textwrap.wrap(name, name_width, subsequent_indent="  ") or [""]
    return [*(f"  {words}" for words in before), _row(last, u95, limits, share, name_width)]


def _row(name: str, u95: str, limits: str, share: str, name_width: int) -> str:
    return f"  {fit(name, name_width)} {u95:>14}  {limits:17}  {share}".rstrip()


def _cells(result: Result) -> tuple[str, str, str, str]:
    unit = UNITS[result.unit]
    u95 = f"{from_si(result.forecast_u95, unit):.3g} {result.unit}"
    bounds = [None if si is None else f"{from_si(si, unit):.3g}" for si in (result.lower, result.upper)]
    limits = "" if bounds == [None, None] else f"{bounds[0] or '-'} to {bounds[1] or '-'}"
    name = result.name.split(": ", 1)[-1]
    return name, u95 if result.u is not None else "not determined", limits, _zone(result.zone_left)


def _zone(share: float | None) -> str:
    if share is None:
        return ""
    return f"{share:.0%}" if share > 0 else "nowhere"
