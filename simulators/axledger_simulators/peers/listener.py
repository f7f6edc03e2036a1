"""A sink that remembers: what campaigns and tests listen with."""

from __future__ import annotations

import queue
import time
from typing import TypeVar

from axledger.contract.transport import Arrived, LinkEvent

__all__ = ["Listener"]

E = TypeVar("E")


class Listener:
    """Take events from any thread and give them out in order; ``heard`` holds every one ever taken."""

    def __init__(self) -> None:
        self.heard: list[LinkEvent] = []
        self._events: queue.SimpleQueue[LinkEvent] = queue.SimpleQueue()

    def __call__(self, event: LinkEvent) -> None:
        """Take one event."""
        self.heard.append(event)
        self._events.put(event)

    def next(self, kind: type[E], timeout_s: float = 10.0) -> E:
        """Return the next event, which has to be a ``kind``.

        Raises ``AssertionError`` where it is another one, and ``queue.Empty`` where none comes in time.
        """
        event = self._events.get(timeout=timeout_s)
        if not isinstance(event, kind):
            raise AssertionError(f"waited for {kind.__name__}, heard {event!r}")
        return event

    def data(self, count: int, timeout_s: float = 10.0) -> bytes:
        """Return ``count`` bytes or more from ``Arrived`` events only; errors as in ``next``."""
        gathered = b""
        until = time.monotonic() + timeout_s
        while len(gathered) < count:
            gathered += self.next(Arrived, max(0.0, until - time.monotonic())).data
        return gathered
