"""The screen of a running job, made for 80 columns by 24 lines and legible from across the bay.

From the top: job and links; the next shot and what was just taken in big letters; what to do there, beside the
plan; the results of the axle that changed; the sums.
"""

from __future__ import annotations

from textwrap import wrap

from rich.text import Text

from axledger.drawing.figures import Units
from axledger.drawing.plan_text import plan_text
from axledger.job.fold import Happening
from axledger.job.state import JobState, ShotView
from axledger.terminal.big_letters import HEIGHT, big, big_width
from axledger.terminal.counter_line import counter_line
from axledger.terminal.lines import Canvas, fit
from axledger.terminal.next_lines import end_lines, slip_line
from axledger.terminal.result_rows import (
    CONTRADICTION,
    axle_blocks,
    block_of,
    result_row,
    verdict_counts,
    waiting_words,
)
from axledger.terminal.shot_words import expected_words, shot_lines, taken_lines, target_large

__all__ = ["render"]

_ALARM = "bold reverse"
_LINK_WORDS = {"opened": "up", "recovered": "up again", "lost": "LOST", "silent": "SILENT", "closed": "closed"}


def render(
    state: JobState,
    *,
    width: int = 80,
    height: int = 24,
    colour: bool = True,
    unicode: bool = True,
    message: str = "",
    told: Happening | None = None,
    focus: str | None = None,
    units: Units | None = None,
) -> Text:
    """Return the screen as one text of at most ``height`` lines of at most ``width`` columns.

    ``message`` (keys, an error) takes the line above the counter, where verdicts are counted otherwise. ``told``
    is what happened last, for the state beside the big value. ``focus`` is a result's or axle's key to show;
    without it the axle of the last shot is shown.
    """
    canvas = Canvas(width, height, colour=colour, unicode=unicode)
    shown = units or Units()
    _header(canvas, state)
    _large(canvas, state, told, shown)
    _do_and_plan(canvas, state, told, shown)
    _results(canvas, state, focus, shown)
    canvas.line((message, "bold")) if message else canvas.line(_sums(state, unicode=unicode))
    canvas.line((counter_line(state), ""))
    return canvas.text()


def _sums(state: JobState, *, unicode: bool) -> tuple[str, str]:
    if state.last is not None and state.last.state == "held":
        return "held, not used: shoot again, or a accepts it as it is; ? help", ""
    if state.steps is not None and state.steps.suspected and not state.closed:
        return slip_line(state.steps.suspected), _ALARM
    if state.contradicts:
        return CONTRADICTION, ""
    if missing := [item for item, _, note in state.preparation if note is None]:
        return f"NOT PREPARED: {', '.join(missing)}: see to it, then p ticks all", ""
    return f"{verdict_counts(state.results, unicode=unicode)}  ? help".strip(), ""


def _header(canvas: Canvas, state: JobState) -> None:
    left = f"job {state.job}  {state.vehicle.get('unit number', '')}  round {state.round}"
    if state.closed:
        left += "  CLOSED"
    links = [(link.instrument, _LINK_WORDS.get(link.state, link.state)) for link in state.links]
    right = "  ".join(f"{name} {word}" for name, word in links) or "no link yet"
    bad = any(word in ("LOST", "SILENT") for _, word in links)
    room = max(10, canvas.width - len(right) - 2)
    canvas.line((fit(left, room), "bold"), ("  ", ""), (right, _ALARM if bad else ""))


def _large(canvas: Canvas, state: JobState, told: Happening | None, units: Units) -> None:
    """Write the next shot at the left and the last value at the right, each under its small heading."""
    taken = taken_lines(state, told, units)
    next_name = target_large(state.current)
    left_width = max(big_width(next_name) + 2, min(44, canvas.width // 2 + 2))
    right_width = canvas.width - left_width
    if (
        big_width(taken.value) + len(taken.unit) + 1 > right_width
    ):  # a narrow window: the value stays whole, in small letters
        taken = taken.small()
    left_rows = big(next_name, unicode=canvas.unicode)
    right_rows = big(taken.value, unicode=canvas.unicode)
    canvas.line(
        (fit(_next_heading(state, units), left_width - 1), ""),
        (" ", ""),
        (taken.heading, _ALARM if taken.alarm else "bold"),
    )
    for row in range(HEIGHT):
        unit = f" {taken.unit}" if row == HEIGHT - 1 else ""
        canvas.line((fit(left_rows[row], left_width), "bold"), (right_rows[row] + unit, "bold"), cut=False)


def _next_heading(state: JobState, units: Units) -> str:
    view = state.current
    if view is None:
        return "JOB CLOSED" if state.closed else "ALL SHOTS DONE"
    return f"NEXT {view.number}/{view.total}: {view.wanted_more} more{expected_words(view, units)}"


def _do_and_plan(canvas: Canvas, state: JobState, told: Happening | None, units: Units) -> None:
    """Write what to do at the left and the plan at the right; the plan's rows set the height."""
    rows = 7 if canvas.height < 32 else 9
    plan_width = min(34, canvas.width // 3 + 6) if canvas.width < 100 else 44
    words_width = max(20, canvas.width - plan_width - 1)
    view = state.current
    words = shot_lines(view, words_width) if view is not None else _at_the_end(state, words_width)
    taken = taken_lines(state, told, units)
    below = _slip_below(state, words_width, rows - len(words)) if not taken.alarm else []
    below = below or [(line, _ALARM if taken.alarm else "") for line in wrap(taken.why, words_width)[:3]]
    words = [*words[: rows - len(below)], *below]
    plan = _plan(state, view, plan_width, rows, unicode=canvas.unicode)
    for row in range(rows):
        text, style = words[row] if row < len(words) else ("", "")
        canvas.line((fit(text, words_width), style), (" ", ""), (plan[row], ""), cut=False)


def _slip_below(state: JobState, width: int, room: int) -> list[tuple[str, str]]:
    """Return the suspected slip for under the next shot, which is what to do first of the two: one line at least."""
    if state.steps is None or not state.steps.suspected or state.closed:
        return []
    told = wrap(f"SLIP? {state.steps.suspected[0].told}", width)
    return [(line, _ALARM) for line in told[: min(3, max(1, room))]]


def _at_the_end(state: JobState, width: int) -> list[tuple[str, str]]:
    if state.closed:
        return [("This job is closed; its statement stands.", "")]
    if state.steps is None:
        return [("All shots done. c closes the job.", "")]
    return [(line, "") for line in end_lines(state.steps, width)]


def _plan(state: JobState, view: ShotView | None, width: int, rows: int, *, unicode: bool) -> tuple[str, ...]:
    units = {unit.id: unit for unit in state.layout.unit}
    unit = units[view.shot.unit] if view is not None else state.layout.unit[0]
    return plan_text(unit, width, rows, shot=view.shot if view is not None else None, unicode=unicode)


def _results(canvas: Canvas, state: JobState, focus: str | None, units: Units) -> None:
    """Write as many axles as fit, beginning with the one in focus; two lines stay for the sums."""
    blocks = axle_blocks(state)
    last = canvas.height - 2
    number, waiting = block_of(state, focus), waiting_words(state)
    for offset in range(len(blocks)):
        block = blocks[(number + offset) % len(blocks)]
        left = last - (canvas.height - canvas.room())
        if left < 2 or (offset and left < len(block.results) + 1):
            break
        page = f"axle {(number + offset) % len(blocks) + 1} of {len(blocks)}"
        heading = f"{block.title}, against {block.against}{', EXAMPLE LIMITS' if state.limits_example else ''}"
        canvas.line((fit(heading, canvas.width - len(page) - 1), "bold underline"), (f" {page}", ""))
        for result in block.results[: left - 1]:
            canvas.line(*result_row(result, canvas.width, unicode=canvas.unicode, waiting=waiting, units=units,
                                    reference=block.against))  # fmt: skip
    while canvas.room() > 2:
        canvas.line()
