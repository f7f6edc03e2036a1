"""The transport's side of the contract: bytes in order, and what became of the link.

A transport runs its own reader thread where the operating system blocks, stamps every chunk at the moment it
arrives, and hands it to ``sink``. It never interprets a byte.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

__all__ = [
    "Arrived",
    "Clock",
    "LinkEvent",
    "Lost",
    "Opened",
    "Recovered",
    "Silent",
    "Sink",
    "Stamp",
    "SystemClock",
    "Transport",
]


@dataclass(frozen=True, slots=True)
class Stamp:
    """Two times of one moment: monotonic ns and UTC ns since 1970."""

    mono_ns: int
    utc_ns: int


class Clock(Protocol):
    """A source of stamps; simulations inject their own."""

    def now(self) -> Stamp:
        """Return the present moment."""
        ...


class SystemClock:
    """The clocks of this machine."""

    def now(self) -> Stamp:
        """Return the present moment."""
        return Stamp(time.monotonic_ns(), time.time_ns())


@dataclass(frozen=True, slots=True)
class Arrived:
    """Bytes that arrived, exactly as read, and when; ``channel`` names a GATT characteristic or is empty."""

    stamp: Stamp
    data: bytes
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Opened:
    """The link is up; ``identity`` is what the far end or the adapter says of itself."""

    stamp: Stamp
    identity: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Lost:
    """The link went down; ``why`` in words."""

    stamp: Stamp
    why: str


@dataclass(frozen=True, slots=True)
class Recovered:
    """The link is up again, found by identity."""

    stamp: Stamp
    identity: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Silent:
    """Nothing was heard for longer than the profile allows; the link may be dead."""

    stamp: Stamp
    for_ns: int


LinkEvent = Arrived | Opened | Lost | Recovered | Silent
Sink = Callable[[LinkEvent], None]


class Transport(Protocol):
    """One open link. Built by a class registered under ``axledger.transports``."""

    def open(self, sink: Sink) -> Mapping[str, str]:
        """Open the link and start delivering to ``sink``; return the identity found.

        Raises ``DeviceTrouble``. After a loss the transport delivers one ``Lost`` and nothing more.
        """
        ...

    def write(self, data: bytes) -> None:
        """Send bytes; raise ``DeviceTrouble`` when they cannot leave."""
        ...

    def close(self) -> None:
        """Release the port or radio within two seconds; calling it twice is harmless."""
        ...
