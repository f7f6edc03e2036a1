"""Tables for commands that print once: results by axle, the plan, the instruments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich import box
from rich.table import Table
from rich.text import Text

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import Quantity
from axledger.drawing.figures import Units, spread_words
from axledger.drawing.printable import one_line
from axledger.job.state import JobState, ShotView
from axledger.terminal.lines import fit
from axledger.terminal.result_rows import CONTRADICTION, axle_blocks, result_row, verdict_counts, waiting_words
from axledger.terminal.shot_words import tilt_words

__all__ = ["instruments_table", "plan_table", "results_lines", "results_text"]


def results_text(
    state: JobState, *, width: int = 100, colour: bool = True, unicode: bool = True, units: Units | None = None
) -> Text:
    """Return all results by axle, front to rear, with the count of verdicts; nothing wraps at ``width`` columns."""
    waiting = waiting_words(state)
    lines: list[list[tuple[str, str]]] = []
    for block in axle_blocks(state):
        lines.append([(fit(f"{block.title}, against {block.against}", width), "bold underline")])
        lines += [
            result_row(result, width, unicode=unicode, waiting=waiting, units=units) for result in block.results
        ]  # fmt: skip
    if not lines:
        lines.append([("no results yet", "")])
    if state.limits_example:
        lines.append([(f"EXAMPLE LIMITS, not for real vehicles: {state.limits_title}", "bold")])
    if state.contradicts:
        lines.append([(CONTRADICTION, "bold reverse")])
    lines.append([(verdict_counts(state.results, unicode=unicode), "")])
    text = Text("\n", no_wrap=True, overflow="crop")
    return text.join(_line(pieces, width, colour=colour, unicode=unicode) for pieces in lines)


def _line(pieces: Sequence[tuple[str, str]], width: int, *, colour: bool, unicode: bool) -> Text:
    line = Text(no_wrap=True, overflow="crop", end="")
    for words, style in pieces:
        line.append(one_line(words, unicode=unicode), style=style if colour else "")
    line.truncate(width)
    line.rstrip()
    return line


def results_lines(
    state: JobState, *, width: int = 100, unicode: bool = True, units: Units | None = None
) -> tuple[str, ...]:
    """Return ``results_text`` as plain lines."""
    return tuple(results_text(state, width=width, colour=False, unicode=unicode, units=units).plain.split("\n"))


def _table(*columns: str, unicode: bool) -> Table:
    table = Table(box=box.SIMPLE if unicode else box.ASCII2, header_style="bold", pad_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


def _row(table: Table, cells: Sequence[str], *, unicode: bool) -> None:
    table.add_row(*(Text(one_line(cell, unicode=unicode)) for cell in cells))  # Text: cells are never markup


def plan_table(shots: Sequence[ShotView], *, unicode: bool = True) -> Table:
    """Return the plan in walking order."""
    table = _table("no", "shot", "first", "from", "to", "taken", "status", unicode=unicode)
    for view in shots:
        shot = view.shot
        first = [f"turn {target}" for target in shot.turn] + [f"fold {target}" for target in shot.fold]
        end = tilt_words(shot.tilt) if shot.kind == "tilt" else view.end_words
        taken = sum(reading.state == "accepted" for reading in view.readings)
        cells = (str(view.number), shot.id, ", ".join(first), view.start_words, end, str(taken), view.status)
        _row(table, cells, unicode=unicode)
    return table


def instruments_table(instruments: Mapping[str, Instrument], *, unicode: bool = True) -> Table:
    """Return the instruments (by role or by name) with what is known of each quantity."""
    table = _table("for", "name", "serial", "quantity", "repeatability", "zero", "last check", "state", unicode=unicode)
    for role, instrument in instruments.items():
        for quantity, record in instrument.quantities.items():
            unit = "mm" if quantity is Quantity.LENGTH else "deg"
            zero = f"{spread_words(record.zero, unit)}, u {spread_words(record.u_zero, unit)}"
            cells = (
                role,
                instrument.name,
                instrument.serial,
                quantity.value,
                spread_words(record.repeatability, unit),
                zero,
                instrument.last_check or "never checked",
                instrument.state,
            )
            _row(table, cells, unicode=unicode)
    return table
