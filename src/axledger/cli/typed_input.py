"""Readings typed by a person at the screen, handed to the instrument of the current shot."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Mapping
from typing import Any

__all__ = ["TypedLines", "TypedReadings"]


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
        from axledger.job.plan import role_of

        fold = self._run.fold
        shot = fold.current()
        role = role_of(shot) if shot is not None else "meter"
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
