"""A transport that does what its holder says: for what no real port can be made to do at will."""

from __future__ import annotations

import threading
from collections.abc import Mapping

from axledger.contract.transport import LinkEvent, Sink

__all__ = ["Puppet"]

_OPENED_S = 10.0


class Puppet:
    """A transport without a far end. ``error`` is raised when opening; ``alive`` is whether its reader runs."""

    def __init__(self, error: Exception | None = None) -> None:
        self.error = error
        self.alive = True
        self.written: list[bytes] = []
        self.closed = threading.Event()
        self._opened = threading.Event()
        self._sink: Sink | None = None

    def open(self, sink: Sink) -> Mapping[str, str]:
        """Take the sink, or raise ``error``."""
        if self.error is not None:
            raise self.error
        self._sink = sink
        self._opened.set()
        return {"address": "COM3"}

    def write(self, data: bytes) -> None:
        """Remember what was sent."""
        self.written.append(data)

    def reader_alive(self) -> bool:
        """Return ``alive``."""
        return self.alive

    def close(self) -> None:
        """Remember that it was closed."""
        self.closed.set()

    def say(self, event: LinkEvent) -> None:
        """Deliver ``event``, once opened; raise ``TimeoutError`` where nobody opens it within ten seconds."""
        if not self._opened.wait(_OPENED_S) or self._sink is None:
            raise TimeoutError("nobody opened the puppet")
        self._sink(event)
