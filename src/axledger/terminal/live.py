"""The live views of a job: a screen kept up to date on a terminal, a plain log where output is piped."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from types import TracebackType
from typing import TextIO

from rich.console import Console
from rich.live import Live
from rich.text import Text

from axledger.drawing.figures import Units, reading_words
from axledger.drawing.printable import one_line
from axledger.job.fold import Happening
from axledger.job.state import JobState
from axledger.terminal.bells import Bells, rings_for
from axledger.terminal.counter_line import counter_line
from axledger.terminal.next_lines import next_lines, slip_lines
from axledger.terminal.screen import render
from axledger.terminal.shot_words import expected_words, tilt_words
from axledger.terminal.tables import results_lines

__all__ = ["LiveScreen", "PlainLog", "changed_key", "live_view"]

_WORST = ("link", "refused", "held", "closed", "accepted", "noted", "act")


class LiveScreen:
    """The screen of a running job on a terminal. Use it as a context manager; call ``update`` on every change."""

    def __init__(
        self,
        stream: TextIO,
        *,
        unicode: bool = True,
        colour: bool = True,
        bell: bool = True,
        units: Units | None = None,
    ) -> None:
        self._console = Console(file=stream, no_color=not colour, highlight=False, markup=False, emoji=False)
        self._live = Live(console=self._console, auto_refresh=False, screen=False, vertical_overflow="crop")
        self._unicode, self._colour, self._units = unicode, colour, units
        self._bells = Bells(stream) if bell else None
        self._before: JobState | None = None
        self._told: Happening | None = None
        self._focus: str | None = None
        self._message = ""
        self._page: tuple[str, ...] = ()
        self._first_line = 0

    def __enter__(self) -> LiveScreen:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()
        if self._bells is not None:
            self._bells.stop()

    def say(self, message: str) -> None:
        """Show ``message`` on its line until the next one; an empty text takes it away."""
        self._message, self._page = message, ()
        if self._before is not None:
            self._draw(self._before)

    def page(self, lines: Sequence[str]) -> None:
        """Show ``lines`` instead of the screen until the next message or change; asked again, show those after."""
        page = self._fitted(lines)
        self._first_line = self._first_line + self._page_height() if page == self._page else 0
        self._page = page
        if self._first_line >= len(page):
            self._first_line = 0
        if self._before is not None:
            self._draw(self._before)

    def update(self, state: JobState, happenings: Sequence[Happening] = ()) -> None:
        """Show ``state``; ``happenings`` are what changed since the last call."""
        if happenings:
            self._told = min(happenings, key=lambda told: _WORST.index(told.kind) if told.kind in _WORST else 9)
        changed = changed_key(self._before, state)
        if changed is not None or self._moved_on(state):
            self._focus = changed
        suspected = _newly_suspected(self._before, state)
        if suspected:  # a message of before must not stand where the slip is told
            self._message = ""
        self._before, self._page = state, ()
        self._draw(state)
        if self._bells is not None:
            self._bells.ring(rings_for(happenings, suspected=suspected))

    def _moved_on(self, state: JobState) -> bool:
        before = self._before
        return before is None or len(before.readings) != len(state.readings)

    def _draw(self, state: JobState) -> None:
        width, height = self._console.size
        if self._page:
            self._live.update(Text("\n".join(self._shown_page()), no_wrap=True), refresh=True)
            return
        screen = render(
            state, width=width, height=height, colour=self._colour, unicode=self._unicode, message=self._message,
            told=self._told, focus=self._focus, units=self._units,
        )  # fmt: skip
        self._live.update(screen, refresh=True)

    def _fitted(self, lines: Sequence[str]) -> tuple[str, ...]:
        """Return lines that fit the window; plain characters may have made them longer."""
        plain = [one_line(line, unicode=self._unicode) for line in lines]
        width = max(2, self._console.size.width)
        return tuple(piece for line in plain for piece in wrap(line, width, subsequent_indent="  ") or [""])

    def _page_height(self) -> int:
        """Return how many lines of a page are shown at once: all of a short one, else a line stays for its number."""
        height = max(2, self._console.size.height - 1)
        return height if len(self._page) <= height else height - 1

    def _shown_page(self) -> list[str]:
        height = self._page_height()
        shown = list(self._page[self._first_line : self._first_line + height])
        if len(self._page) <= height:
            return shown
        number, pages = self._first_line // height + 1, -(-len(self._page) // height)
        return [*shown, f"page {number} of {pages}: the same key again shows the next"]


def _suspected(state: JobState | None) -> tuple[tuple[str, ...], ...]:
    """Return what is suspected, to tell whether that changed: the slips with their shots."""
    if state is None or state.steps is None:
        return ()
    return tuple((finding.slip, *finding.shots) for finding in state.steps.suspected)


def _newly_suspected(before: JobState | None, now: JobState) -> bool:
    return not set(_suspected(now)) <= set(_suspected(before))


def changed_key(before: JobState | None, now: JobState) -> str | None:
    """Return the key of a result that became determined or changed its verdict, or ``None``."""
    if before is None:
        return None
    verdicts = {result.key: result.verdict for result in before.results}
    return next((r.key for r in now.results if verdicts.get(r.key, r.verdict) is not r.verdict), None)


class PlainLog:
    """One line for every happening and one for every new shot, no control codes; the results when it ends."""

    def __init__(
        self, stream: TextIO, *, unicode: bool = True, bell: bool = False, units: Units | None = None, width: int = 100
    ) -> None:
        self._stream = stream
        self._unicode = unicode
        self._units = units or Units()
        self._width = width
        self._bells = Bells(stream) if bell else None
        self._shot: tuple[int, str] | None = None
        self._state: JobState | None = None

    def __enter__(self) -> PlainLog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bells is not None:
            self._bells.stop()
        if self._state is not None:
            for line in results_lines(self._state, width=self._width, unicode=self._unicode, units=self._units):
                self._write(line)
            for line in self._last_steps(self._state):
                self._write(line)
            self._write(counter_line(self._state))

    def say(self, message: str) -> None:
        """Write ``message``, its lines one by one; an empty text writes nothing."""
        for line in message.splitlines():
            self._write(line)

    def page(self, lines: Sequence[str]) -> None:
        """Write ``lines``."""
        for line in lines:
            self._write(line)

    def update(self, state: JobState, happenings: Sequence[Happening] = ()) -> None:
        """Write what happened, then the shot that is next where that changed."""
        before, self._state = self._state, state
        for told in happenings:
            self._write(_told_line(state, told, self._units))
        if _suspected(before) != _suspected(state):
            self._suspect(state)
        self._next(state)
        if self._bells is not None:
            self._bells.ring(rings_for(happenings, suspected=_newly_suspected(before, state)))

    def _suspect(self, state: JobState) -> None:
        findings = state.steps.suspected if state.steps is not None else ()
        for line in slip_lines(findings, self._width) or ["no slip is suspected any more"]:
            self._write(line)

    def _last_steps(self, state: JobState) -> tuple[str, ...]:
        return next_lines(state.steps, width=self._width, unicode=self._unicode) if state.steps is not None else ()

    def _next(self, state: JobState) -> None:
        view = state.current
        turn_due = view is not None and bool(view.shot.turn) and view.turned is None
        now = (state.round, view.shot.id if view is not None else "")
        if now == self._shot:
            return
        self._shot = now
        if view is None:
            self._write("next: nothing, every shot is taken or skipped")
            return
        shot = view.shot
        for target in shot.turn if turn_due else ():
            self._write(f"turn: {target} half a turn, arrow down, first")
        for target in shot.fold:
            self._write(f"fold: {target} out of the way")
        what = tilt_words(shot.tilt) if shot.kind == "tilt" else f"to {view.end_words}"
        self._write(
            f"next: {view.number}/{view.total} {shot.id}, {view.start_words}, {what}{expected_words(view, self._units)}"
        )

    def _write(self, line: str) -> None:
        self._stream.write(one_line(line, unicode=self._unicode).rstrip() + "\n")
        self._stream.flush()


def _told_line(state: JobState, told: Happening, units: Units) -> str:
    reading = next((r for r in state.readings if r.number == told.reading), None)
    if reading is None:
        return f"{told.kind}: {told.words}"
    shown = reading_words(reading.value_si, reading.unit, units)
    where = f" for {told.shot}" if told.shot else ""
    why = f": {told.words}" if told.words else ""
    return f"{told.kind}: reading {reading.number}, {shown}{where}{why}"


def live_view(
    stream: TextIO, *, unicode: bool, colour: bool, bell: bool | None = None, units: Units | None = None
) -> LiveScreen | PlainLog:
    """Return the view that fits ``stream``; ``bell`` ``None`` rings on a terminal only."""
    if stream.isatty():
        return LiveScreen(stream, unicode=unicode, colour=colour, bell=bell is not False, units=units)
    return PlainLog(stream, unicode=unicode, bell=bell is True, units=units)
