"""What a plan is worth before the first shot, as a table."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.table import Table
from rich.text import Text

from axledger.contract.quantity import UNITS, from_si
from axledger.job.solution import Result

__all__ = ["forecast_table"]


def forecast_table(results: Sequence[Result], *, unicode: bool = True) -> Table:
    """Return each result with the U it will have, its limits, and the share of the tolerance that can be decided."""
    table = Table(box=box.SIMPLE if unicode else box.ASCII2, header_style="bold", pad_edge=False)
    for column in ("result", "against", "U (2u) will be", "limits", "can be shown conforming"):
        table.add_column(column, overflow="fold")
    for result in results:
        table.add_row(*(Text(cell) for cell in _cells(result)))
    return table


def _cells(result: Result) -> tuple[str, str, str, str, str]:
    unit = UNITS[result.unit]
    u95 = f"{2 * from_si(result.forecast_u, unit):.3g} {result.unit}"
    bounds = [None if si is None else f"{from_si(si, unit):.3g}" for si in (result.lower, result.upper)]
    limits = "" if bounds == [None, None] else f"{bounds[0] or '-'} to {bounds[1] or '-'} {result.unit}"
    return (
        result.name,
        result.against,
        u95 if result.u is not None else "not determined",
        limits,
        _zone(result.zone_left),
    )


def _zone(share: float | None) -> str:
    if share is None:
        return ""
    return f"in {share:.0%} of the tolerance" if share > 0 else "nowhere: cannot be decided"
