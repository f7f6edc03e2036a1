"""``axledger job run``: the loop between the links, the person and the screen."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Mapping, Sequence
from types import TracebackType
from typing import Any, TextIO

from axledger.cli.desk import Desk
from axledger.cli.folder import data_folder, own_folder, person_of, print_json
from axledger.cli.typed_input import TypedLines, TypedReadings

__all__ = ["NoView", "View", "view_for", "work", "writes_unicode"]


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
        plan = (fold.board.round, fold.board.blocked, fold.board.added, fold.board.extra)
        if self._decisive is None or self._decisive[0] != plan:
            self._decisive = (plan, decisive_of(fold))
        self._inner.update(state_of(fold, self._words, self._decisive[1]), told)

    def say(self, message: str) -> None:
        """Show a message."""
        self._inner.say(message)

    def page(self, lines: Sequence[str]) -> None:
        """Show a page of text until something changes."""
        self._inner.page(lines)


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
        desk = Desk(run, view, asks=isinstance(wishes, KeyInput))
        while not (parsed.until_done and run.fold.current() is None):
            desk.pump()
            if readings.wait():
                continue
            if desk.serve(wishes) or (only_typed and wishes.ended):  # nobody is left who could type
                return
