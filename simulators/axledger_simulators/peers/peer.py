"""What every simulated far end can do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

__all__ = ["OnReceive", "Peer"]

OnReceive = Callable[[bytes], None]


class Peer(Protocol):
    """The device's end of a link.

    ``address`` is what the tool is given. ``on_receive`` hears what the tool sends, from the peer's own thread.
    """

    on_receive: OnReceive | None

    @property
    def address(self) -> str:
        """Return the address under which the tool reaches this peer."""
        ...

    def send(self, data: bytes) -> None:
        """Send bytes to whoever listens; with nobody there they are lost, as on a real wire."""
        ...

    def listened(self, timeout_s: float) -> bool:
        """Wait until somebody listens, as far as the peer can know; tell whether that is so."""
        ...

    def unplug(self) -> None:
        """Take the device away, as a pulled plug or a dead battery does."""
        ...

    def plug(self) -> None:
        """Bring the device back under the same address."""
        ...

    def close(self) -> None:
        """Take the device away for good and end its threads; calling it twice is harmless."""
        ...
