"""Typed lines: a person at a keyboard, or a meter that behaves like one.

Such a source has no identity and no check digits, and a keyboard layout can change characters; whoever reads the
ledger sees it by the address.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Mapping
from typing import Protocol

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Clock, Lost, Sink
from axledger_drivers.transports.address import part_after

__all__ = ["LineSource", "TypedTransport"]

_CLOSE_S = 0.2  # a read of a keyboard cannot be cancelled, so closing does not wait for it


class LineSource(Protocol):
    """What lines are read from: a text file, a terminal, or a queue that somebody fills."""

    def readline(self) -> str:
        """Wait for the next line and return it with its end; an empty text is the end of the source."""
        ...


class TypedTransport:
    """Lines of a text stream; each line, with its end, is one ``Arrived`` of UTF-8 bytes.

    ``stream`` is standard input unless given. The end of the stream is the loss of the link.
    """

    def __init__(self, address: str, profile: Profile, clock: Clock, *, stream: LineSource | None = None) -> None:
        part_after("typed", address)
        self._address = address
        self._clock = clock
        self._stream: LineSource = sys.stdin if stream is None else stream
        self._stop = threading.Event()
        self._reader: threading.Thread | None = None

    def open(self, sink: Sink) -> Mapping[str, str]:
        """Start reading; return the address as the only identity there is."""
        name = f"axledger read {self._address}"
        thread = threading.Thread(target=self._run, args=(sink,), name=name, daemon=True)
        thread.start()
        self._reader = thread  # only now, as another thread that closes may join it
        return {"address": self._address}

    def write(self, data: bytes) -> None:
        """Raise ``DeviceTrouble``: nothing can be sent to a keyboard."""
        raise DeviceTrouble(
            f"nothing can be sent to {self._address}",
            cause=DeviceCause.OTHER,
            found=f"{len(data)} bytes to send",
            allowed="receiving only",
            do="take the reading on the device itself and type it",
        )

    def reader_alive(self) -> bool:
        """Tell whether the reader thread runs."""
        return self._reader is not None and self._reader.is_alive()

    def close(self) -> None:
        """Stop listening; a read that waits for a key is left behind and its line dropped."""
        self._stop.set()
        if self._reader is not None and self._reader is not threading.current_thread():
            self._reader.join(_CLOSE_S)

    def _run(self, sink: Sink) -> None:
        why = "the typed input ended"
        try:
            while line := self._stream.readline():
                if self._stop.is_set():
                    return
                sink(Arrived(self._clock.now(), line.encode("utf-8", "surrogateescape")))
        except Exception as error:  # whatever ends the reader has to be seen
            why = f"the typed input cannot be read: {error}"
        if not self._stop.is_set():
            sink(Lost(self._clock.now(), why))
