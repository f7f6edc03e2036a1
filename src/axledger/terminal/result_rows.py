"""Results as rows keyed by axle: value ± U, which way, the limits as a drawn interval, the verdict."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from axledger.drawing.figures import (
    Units,
    axle_reference,
    direction_words,
    figure_of,
    limit_numbers,
    own_reference,
    short_quantity,
)
from axledger.drawing.verdict_marks import MARKS, mark_of
from axledger.drawing.whisker import whisker_text
from axledger.geometry.conformity import Verdict
from axledger.job.solution import Result
from axledger.job.state import JobState
from axledger.terminal.lines import fit

__all__ = ["CONTRADICTION", "AxleBlock", "axle_blocks", "block_of", "result_row", "verdict_counts", "waiting_words"]

CONTRADICTION = "THE READINGS CONTRADICT EACH OTHER: one is wrong, retake the suspect"
"""Fits 80 columns; shown wherever results are."""

Pieces = list[tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class AxleBlock:
    """The results of one axle; ``prefix`` is the key they share, such as ``tractor.steer``.

    ``against`` is the reference of the axle; single results may have one of their own.
    """

    prefix: str
    title: str
    against: str
    results: tuple[Result, ...]


def axle_blocks(state: JobState) -> tuple[AxleBlock, ...]:
    """Return the results by axle, front to rear."""
    grouped: dict[str, list[Result]] = {}
    for result in state.results:
        grouped.setdefault(".".join(result.key.split(".")[:2]), []).append(result)
    names = {unit.id: unit.name for unit in state.layout.unit}
    many = len(state.layout.unit) > 1
    return tuple(
        AxleBlock(
            prefix=prefix,
            title=f"{names.get(prefix.split('.')[0], '')} " * many + results[0].name.split(": ")[0],
            against=axle_reference(results),
            results=tuple(results),
        )
        for prefix, results in grouped.items()
    )


def block_of(state: JobState, focus: str | None) -> int:
    """Return which axle to show: the one of ``focus`` (an axle's or a result's key), else that of the last shot."""
    blocks = axle_blocks(state)
    if focus is not None:
        for number, block in enumerate(blocks):
            if focus == block.prefix or focus.startswith(f"{block.prefix}."):
                return number
    shots = {view.shot.id: view.shot for view in state.shots}
    last = next((shots[reading.shot] for reading in reversed(state.readings) if reading.shot in shots), None)
    shot = last or (state.current.shot if state.current is not None else None)
    wanted = _axles_at(state, [shot.end, shot.start]) if shot is not None else []
    order = {block.prefix: number for number, block in enumerate(blocks)}
    return next((order[prefix] for prefix in wanted if prefix in order), 0)


def _axles_at(state: JobState, stations: Sequence[str]) -> list[str]:
    """Return the key prefixes of the axles that the stations stand on."""
    return [
        f"{unit.id}.{axle.id}"
        for station in stations
        for unit in state.layout.unit
        for axle in unit.axle
        if station.startswith((f"{axle.code}L", f"{axle.code}R"))
    ]


def waiting_words(state: JobState) -> dict[str, str]:
    """Say for every result not yet determined what it waits for: the shot to come, or the one that was left out."""
    status = {view.shot.id: view.status for view in state.shots}
    words: dict[str, str] = {}
    for key, shot in state.decisive.items():
        if status.get(shot) == "open":
            words[key] = f"not yet: after {shot}"
        elif status.get(shot) != "done":
            words[key] = f"needs {shot}"
    return words


def result_row(
    result: Result, width: int, *, unicode: bool, waiting: Mapping[str, str], units: Units | None = None,
    reference: str | None = None,
) -> Pieces:  # fmt: skip
    """Return one row of ``width`` (60 or more) columns as styled pieces; ``waiting`` as of ``waiting_words``.

    ``reference`` is that of the heading: what a result is judged against instead is said where there is room.
    """
    shown = units or Units()
    value_width = 18 if unicode else 20
    way_width = 12 if width >= 100 else 5
    figure = figure_of(result, shown)
    name_width = 41 if width >= 120 else 15
    own = own_reference(result, reference) if reference is not None and name_width > 15 else ""
    name = f"{short_quantity(result)}, {own}" if own else short_quantity(result)
    pieces: Pieces = [(fit(name, name_width), ""), (" ", "")]
    if figure is None:
        words = waiting.get(result.key, "not yet determined")
        pieces.append((fit(words, value_width + 1 + way_width), ""))
    else:
        way = direction_words(result, shown, short=way_width < 12)
        pieces += [
            (fit(figure.text(unicode=unicode), value_width), "bold"), (" ", ""), (fit(way, way_width), ""),
        ]  # fmt: skip
    mark = mark_of(result.verdict)
    limits = _limits(result, width - name_width - value_width - way_width - 22, shown, unicode=unicode)
    pieces += [(" ", ""), (limits, ""), (" ", "")]
    pieces += [(mark.shape if unicode else mark.ascii, f"bold {mark.colour}"), (" ", ""), (mark.word, "")]
    return pieces


def _limits(result: Result, width: int, units: Units, *, unicode: bool) -> str:
    """Return the limits' numbers with the drawing between them, in exactly ``width`` columns."""
    lower, upper = limit_numbers(result, units)
    if not lower and not upper:
        return " " * width
    side = max(len(lower), len(upper), 4)
    drawing = whisker_text(result, max(0, width - 2 * side), unicode=unicode)
    return fit(f"{lower.rjust(side)}{drawing}{upper.ljust(side)}", width)


def verdict_counts(results: Sequence[Result], *, unicode: bool) -> str:
    """Count the verdicts: ``● 3 conforms  ▲ 1 does not conform``; those that do not occur are left out."""
    return "  ".join(_counted(results, unicode=unicode))


def _counted(results: Sequence[Result], *, unicode: bool) -> Iterator[str]:
    for verdict in Verdict:
        count = sum(result.verdict is verdict for result in results)
        mark = MARKS[verdict]
        if count:
            yield f"{mark.shape if unicode else mark.ascii} {count} {mark.word}"
