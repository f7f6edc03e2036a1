"""``axledger job run``: the loop between the links, the person and the screen."""

from __future__ import annotations

import argparse
import io
import queue
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from types import TracebackType
from typing import Any, TextIO

from axledger.cli.folder import data_folder, own_folder, person_of, print_json

__all__ = ["NoView", "View", "view_for", "work", "writes_unicode"]

_WAIT_S = 0.05
"""How long to wait for bytes before looking at the keys: short enough that a key feels immediate."""


class NoView:
    """Shows nothing, as standard output is for JSON; messages go to standard error."""

    def __enter__(self) -> NoView:
        return self

    def __exit__(self, kind: Any, error: Any, trace: TracebackType | None) -> None:
        """Nothing to end."""

    def watch(self, fold: Any, told: Any) -> None:
        """Show nothing of ``fold`` and ``told``."""

    def say(self, message: str) -> None:
        """Write ``message`` to standard error."""
        if message:
            print(message, file=sys.stderr)

    def page(self, lines: Sequence[str]) -> None:
        """Write ``lines`` to standard error."""
        self.say("\n".join(lines))


class View:
    """Feeds a terminal view with the job's states. ``changed`` readings and links redraw, idle time does not."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self._words: Any = None
        self._decisive: tuple[Any, dict[str, str]] | None = None

    def __enter__(self) -> View:
        self._inner.__enter__()
        return self

    def __exit__(self, kind: Any, error: Any, trace: TracebackType | None) -> None:
        self._inner.__exit__(kind, error, trace)

    def watch(self, fold: Any, told: Any) -> None:
        """Show what was told and the state it led to."""
        from axledger.job.state import Words, decisive_of, state_of

        if fold.layout is None:
            return
        if self._words is None:
            self._words = Words(fold.layout)
        plan = (fold.board.round, fold.board.blocked, fold.board.added)
        if self._decisive is None or self._decisive[0] != plan:
            self._decisive = (plan, decisive_of(fold))
        self._inner.update(state_of(fold, self._words, self._decisive[1]), told)

    def say(self, message: str) -> None:
        """Show a message."""
        self._inner.say(message)

    def page(self, lines: Sequence[str]) -> None:
        """Show a page of text until something changes."""
        self._inner.page(lines)


class TypedLines:
    """A source whose lines are pushed in: what a person typed for one instrument. ``end`` lets its reader go."""

    def __init__(self) -> None:
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()

    def readline(self) -> str:
        """Wait for the next line."""
        return self._lines.get()

    def push(self, line: str) -> None:
        """Hand a line over."""
        self._lines.put(line if line.endswith("\n") else line + "\n")

    def end(self) -> None:
        """End the source: the thread that waits for a line would never leave otherwise."""
        self._lines.put("")


class TypedReadings:
    """Hands typed readings to the instrument of the current shot and tells while one is still on its way.

    Lines of a pipe come all at once, and an act such as ``undo`` is meant for the reading typed before it. A line
    that no typed instrument can take is told through ``say``.
    """

    _PATIENCE_NS = 5_000_000_000

    def __init__(
        self,
        run: Any,
        feeds: Mapping[str, TypedLines],
        say: Callable[[str], None],
        newest: Mapping[str, Any] | None = None,
    ) -> None:
        self._run, self._feeds, self._say = run, feeds, say
        self._newest = newest or {}
        self._heard: int | None = None
        self._since_ns = 0

    def take(self, line: str) -> None:
        """Hand a typed line over."""
        fold = self._run.fold
        shot = fold.current()
        role = "inclinometer" if shot is not None and shot.kind == "tilt" else "meter"
        instrument = fold.instruments.get(role)
        reached = self._newest.get(instrument.name, instrument) if instrument is not None else None
        feed = self._feeds.get(reached.address) if reached is not None else None
        if feed is None:
            wanted = f"{instrument.name}, which is not typed" if instrument is not None else "and the job has none"
            self._say(f"{line.strip()} not taken: {shot.id if shot else 'the job'} wants the {role} {wanted}")
            return
        self._heard, self._since_ns = len(fold.heard), time.monotonic_ns()
        feed.push(line)

    def wait(self) -> bool:
        """Tell whether a typed line has not yet reached the job."""
        if self._heard is not None:
            came = len(self._run.fold.heard) > self._heard
            if came or time.monotonic_ns() - self._since_ns > self._PATIENCE_NS:
                self._heard = None
        return self._heard is not None


def view_for(stream: TextIO | None, *, colour: bool, unicode: bool) -> View:
    """Return the view that fits the stream: a screen on a terminal, a plain log in a pipe, nothing where none is."""
    from axledger.terminal.live import live_view

    shown = stream if stream is not None else io.StringIO()
    return View(live_view(shown, unicode=unicode and writes_unicode(shown), colour=colour))


def writes_unicode(stream: TextIO) -> bool:
    """Tell whether the stream can carry every character."""
    return (stream.encoding or "ascii").lower().replace("-", "").startswith("utf")


def work(parsed: argparse.Namespace) -> int:
    """Run a job until the person leaves or closes it; return 0."""
    from axledger.contract.errors import Refused
    from axledger.contract.transport import SystemClock
    from axledger.job.opening import fold_job, instruments_in, latest_job
    from axledger.job.run import JobRun
    from axledger.job.wiring import supervisor_maker
    from axledger.ledger import Ledger
    from axledger_drivers.registry import decoder_for

    clock = SystemClock()
    with Ledger.open(data_folder(), create=False) as ledger:
        job = parsed.job or latest_job(ledger)
        fold = fold_job(ledger, job, decoder_for)
        if fold.closed:
            raise Refused(
                f"job {job} is closed", found="its statement", allowed="an open job",
                do=f"look at it with `axledger job show {job}`, or open a new one for this vehicle",
            )  # fmt: skip
        newest = {name: enrolled.instrument for name, enrolled in instruments_in(ledger).items()}
        addresses = [newest[instrument.name].address for instrument in fold.instruments.values()]
        feeds = {address: TypedLines() for address in addresses if address.startswith("typed:")}
        run = JobRun(
            ledger, job, clock=clock, make_decoder=decoder_for, make_supervisor=supervisor_maker(clock, feeds),
            person=person_of(parsed),
        )  # fmt: skip
        view = NoView() if parsed.json else view_for(sys.stdout, colour=not parsed.no_colour, unicode=not parsed.ascii)
        if not parsed.json:
            _cautions(ledger.notices())
        try:
            with view:
                _loop(run, view, parsed, feeds, newest)
        finally:
            for feed in feeds.values():
                feed.end()
            run.stop()
        head = ledger.head()
    if parsed.json:
        from axledger.cli.job import job_json
        from axledger.job.statements import results_of

        print_json(job_json(run.fold, head, results_of(run.fold)))
    return 0


def _cautions(notices: Sequence[str]) -> None:
    from axledger.job.preparation import CAUTIONS

    for notice in notices:
        print(f"note: {notice}")
    for caution in CAUTIONS:
        print(f"caution: {caution}")


def _loop(
    run: Any, view: Any, parsed: argparse.Namespace, feeds: Mapping[str, TypedLines], newest: Mapping[str, Any]
) -> None:
    from axledger.job.preparation import PREPARATION
    from axledger.job.wiring import sources_of
    from axledger.terminal.input import KeyInput, wish_input

    own = own_folder("profiles")
    view.watch(run.fold, run.start(sources_of(run.fold, [own] if own is not None else [], newest)))
    if parsed.prepared:
        view.watch(run.fold, run.act("tick", items=[item.id for item in PREPARATION], note="ticked at the start"))
    stream = sys.stdin if sys.stdin is not None and not sys.stdin.closed else io.StringIO()
    readings = TypedReadings(run, feeds, view.say, newest)
    only_typed = len(feeds) == len({instrument.name for instrument in run.fold.instruments.values()})
    with wish_input(stream, readings.take if feeds else None) as wishes:
        desk = _Desk(run, view, asks=isinstance(wishes, KeyInput))
        while not (parsed.until_done and run.fold.current() is None):
            desk.pump()
            if readings.wait():
                continue
            if desk.serve(wishes) or (only_typed and wishes.ended):  # nobody is left who could type
                return


_ANSWER_WITHIN_S = 5.0
_ASKED_TWICE = {
    "close": ("c", "close for good, {open} shots open?"),
    "swap": ("w", "swap the last shot's readings with those of the other side?"),
}


class _Desk:
    """Does what the person asks for. ``asks``: a single key that cannot be undone is asked for twice."""

    def __init__(self, run: Any, view: Any, *, asks: bool) -> None:
        self._run, self._view, self._asks = run, view, asks
        self._asked: tuple[str, float] | None = None
        self._ended = False
        self._full = False
        self._typing: str | None = None

    def pump(self) -> None:
        """Take what arrived. Where it cannot be stored, say so and go on: it waits, and is stored once it can be."""
        from axledger.contract.errors import StorageTrouble

        try:
            told = self._run.pump(_WAIT_S)
        except StorageTrouble as trouble:
            if not self._full:
                self._view.say(f"NOT STORED, NOT TAKEN: {trouble.what}: {trouble.found}; {trouble.do}")
            self._full = True
            time.sleep(_WAIT_S)
            return
        if self._full:
            self._full = False
            self._view.say("stored again: what waited is in the ledger")
        if told:
            self._view.watch(self._run.fold, told)

    def serve(self, wishes: Any) -> bool:
        """Do what was asked for since the last call; return whether to leave.

        Tells what cannot be done, and raises it where the links have ended already: nothing more would come then.
        """
        from axledger.contract.errors import AxledgerError

        try:
            wanted = wishes.wishes()
            self._show_typing(getattr(wishes, "typing", None))  # before anything is said, which it would wipe away
            for wish in wanted:
                if self._asked is not None and wish.act != self._asked[0]:
                    self._asked = None
                if self._do(wish):
                    return True
        except AxledgerError as error:
            if self._ended:
                raise
            self._typing = getattr(wishes, "typing", None)
            # what to do comes before what is allowed: a screen may have no room for a long list
            self._view.say(f"{error.what}: found {error.found}; {error.do}; allowed {error.allowed}")
        return False

    def _show_typing(self, typing: str | None) -> None:
        if typing != self._typing:
            self._view.say(f":{typing}" if typing is not None else "")
        self._typing = typing

    def _do(self, wish: Any) -> bool:
        from axledger.terminal.keys import key_help

        run, view = self._run, self._view
        if wish.act == "quit":
            view.say("leaving: what arrived is being stored; the job stays open")
            return True
        if wish.act == "help":
            view.page(key_help())
            return False
        if self._asks and wish.act in _ASKED_TWICE and not self._confirmed(wish.act):
            return False
        if wish.act == "close":
            self._ended = True
            view.watch(run.fold, [*run.stop(), *run.close_job()])
            return True
        told = run.measure() if wish.act == "measure" else run.act(wish.act, **wish.arguments)
        view.watch(run.fold, told)
        view.say("; ".join(happening.words for happening in told if happening.kind == "act"))
        return False

    def _confirmed(self, act: str) -> bool:
        """Ask once more before what a stray key must not do; the answer counts for a few seconds only."""
        asked, self._asked = self._asked, None
        if asked is not None and asked[0] == act and time.monotonic() - asked[1] < _ANSWER_WITHIN_S:
            return True
        self._asked = (act, time.monotonic())
        key, what = _ASKED_TWICE[act]
        self._view.say(f"{what.format(open=len(self._run.fold.open_shots()))} {key} again within 5 s: yes")
        return False
