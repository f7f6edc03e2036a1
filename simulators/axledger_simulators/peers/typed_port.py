"""A simulated person at a keyboard: what is sent comes out as typed lines of the real typed transport."""

from __future__ import annotations

import queue
import threading

from axledger_simulators.peers.peer import OnReceive

__all__ = ["TypedPort"]


class TypedPort:
    """The keyboard of one typed instrument: a peer, and the source of lines that its transport reads."""

    def __init__(self, address: str = "typed:plates") -> None:
        self.on_receive: OnReceive | None = None  # nothing is ever sent to a keyboard
        self._address = address
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._read = threading.Event()
        self._plugged = True

    @property
    def address(self) -> str:
        """Return the address under which the tool reaches this peer."""
        return self._address

    def readline(self) -> str:
        """Wait for the next line; an empty text is the end."""
        self._read.set()
        return self._lines.get()

    def send(self, data: bytes) -> None:
        """Type ``data``, UTF-8 with a line end; with nobody at the keyboard it is lost."""
        if self._plugged:
            self._lines.put(data.decode("utf-8"))

    def listened(self, timeout_s: float) -> bool:
        """Wait until somebody reads lines; tell whether that is so."""
        return self._read.wait(timeout_s)

    def unplug(self) -> None:
        """Leave the keyboard."""
        self._plugged = False

    def plug(self) -> None:
        """Come back to it."""
        self._plugged = True

    def close(self) -> None:
        """End the lines, so that who waits for one gets away; calling it twice is harmless."""
        self._lines.put("")
