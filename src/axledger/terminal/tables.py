"""What commands print once: results by axle, the plan, the instruments; readable in a pipe of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from rich.text import Text

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.drawing.figures import Units, spread_words
from axledger.drawing.printable import one_line
from axledger.job.state import JobState, ShotView
from axledger.terminal.lines import fit
from axledger.terminal.result_rows import CONTRADICTION, axle_blocks, result_row, verdict_counts, waiting_words
from axledger.terminal.shot_words import tilt_words

__all__ = ["instrument_lines", "plan_lines", "results_lines", "results_text"]


def results_text(
    state: JobState, *, width: int = 100, colour: bool = True, unicode: bool = True, units: Units | None = None
) -> Text:
    """Return all results by axle, front to rear, with the count of verdicts; nothing wraps at ``width`` columns."""
    waiting = waiting_words(state)
    lines: list[list[tuple[str, str]]] = []
    for block in axle_blocks(state):
        lines.append([(fit(f"{block.title}, against {block.against}", width), "bold underline")])
        lines += [
            result_row(result, width, unicode=unicode, waiting=waiting, units=units, reference=block.against)
            for result in block.results
        ]
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


def plan_lines(shots: Sequence[ShotView], *, width: int = 100, unicode: bool = True) -> tuple[str, ...]:
    """Return the plan in walking order: a heading where one stands, the targets to turn and fold, then the shots.

    No line is longer than ``width`` (60 or more); what was taken is told only where something was.
    """
    lines: list[str] = []
    standing = ""
    for view in shots:
        shot = view.shot
        if shot.start != standing:
            lines.append(f"from {view.start_words}")
            standing = shot.start
        first = [f"turn {target}" for target in shot.turn] + [f"fold {target}" for target in shot.fold]
        if first:
            lines.append(f"      {', '.join(first)}, then")
        lines += _shot_lines(view, width)
    return tuple(one_line(fit(line, width).rstrip(), unicode=unicode) for line in lines)


def _shot_lines(view: ShotView, width: int) -> list[str]:
    shot = view.shot
    end = tilt_words(shot.tilt) if shot.kind == "tilt" else view.end_words
    taken = sum(reading.state == "accepted" for reading in view.readings)
    state = f"; {view.status}, {taken} taken" if taken or view.status != "open" else ""
    return textwrap.wrap(f"{view.number:4d}  {shot.id:16}  {end}{state}", width, subsequent_indent=" " * 24)


def instrument_lines(
    instruments: Mapping[str, Instrument], *, width: int = 100, unicode: bool = True
) -> tuple[str, ...]:
    """Return the instruments (by role or by name) with what is known of each quantity, wrapped at ``width``."""
    lines: list[str] = []
    for role, instrument in instruments.items():
        serial = f", serial {instrument.serial}" if instrument.serial else ""
        checked = f"last check {instrument.last_check}" if instrument.last_check else "never checked"
        lines.append(f"{role}: {instrument.name}{serial}, {instrument.state}, {checked}")
        lines += [_quantity_line(quantity, record) for quantity, record in instrument.quantities.items()]
    shown = [one_line(line, unicode=unicode) for line in lines]
    return tuple(piece for line in shown for piece in textwrap.wrap(line, width, subsequent_indent="    "))


def _quantity_line(quantity: Quantity, record: QuantityRecord) -> str:
    unit = "mm" if quantity is Quantity.LENGTH else "deg"
    return (
        f"  {quantity.value}: repeats to {spread_words(record.repeatability, unit)}, "
        f"zero {spread_words(record.zero, unit)} (u {spread_words(record.u_zero, unit)})"
    )
