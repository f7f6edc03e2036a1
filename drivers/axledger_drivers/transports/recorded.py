"""Recorded streams: what a device once sent, played again.

A recorded stream is a JSON Lines file. Each line is an object with ``t`` (seconds since the recording began, never
going back), ``hex`` (the bytes) and, where the bytes came by GATT, ``char`` (the characteristic). An object with
``"op": "shot"`` marks where a person meant to take a reading and carries no bytes. Blank lines are allowed.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, cast

from axledger.contract.errors import BadFile, DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Clock, Lost, Sink, Stamp
from axledger_drivers.transports.address import part_after

__all__ = ["RecordedChunk", "RecordedTransport", "parse_recorded"]

_FIELDS = frozenset({"t", "hex", "char", "op"})
_ALLOWED = 'one JSON object a line: {"t": seconds, "hex": "3F0A"}, with "char" where it came by GATT'


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedChunk:
    """Bytes and when they came, in ns since the recording began."""

    at_ns: int
    data: bytes
    channel: str = ""


class _FaultError(ValueError):
    """One line that cannot be used."""


def parse_recorded(text: str, *, path: str) -> tuple[RecordedChunk, ...]:
    """Parse a recorded stream; raise ``BadFile`` naming every malformed line."""
    chunks: list[RecordedChunk] = []
    faults: list[tuple[int, str]] = []
    for number, line in enumerate(text.split("\n"), start=1):
        try:
            chunk = _chunk(line)
            if chunk and chunks and chunk.at_ns < chunks[-1].at_ns:
                raise _FaultError("t goes back")
        except ValueError as error:
            faults.append((number, str(error)))
        else:
            chunks += [chunk] if chunk else []
    if faults:
        raise BadFile(path, faults, allowed=_ALLOWED, do="mend the named lines, or record the stream again")
    return tuple(chunks)


def _chunk(line: str) -> RecordedChunk | None:
    if not line.strip():
        return None
    parsed: Any = json.loads(line, parse_float=Decimal, parse_int=Decimal, parse_constant=_no_constant)
    if not isinstance(parsed, dict):
        raise _FaultError("not a JSON object")
    fields = cast("dict[str, Any]", parsed)
    if fields.get("op") == "shot":
        return None
    if "op" in fields:
        raise _FaultError(f"op {fields['op']!r} is not known")
    if unknown := sorted(set(fields) - _FIELDS):
        raise _FaultError(f"unknown field {', '.join(unknown)}")
    at, digits, channel = fields.get("t"), fields.get("hex"), fields.get("char", "")
    if not isinstance(at, Decimal) or not 0 <= at < 10**9:
        raise _FaultError("t has to be a number of seconds, 0 or more")
    if not isinstance(digits, str) or not isinstance(channel, str):
        raise _FaultError("hex and char have to be texts")
    return RecordedChunk(at_ns=round(at * 10**9), data=_bytes(digits), channel=channel)


def _bytes(digits: str) -> bytes:
    try:
        data = bytes.fromhex(digits)
    except ValueError as error:
        raise _FaultError(f"hex {digits!r} is not pairs of hex digits") from error
    if not data:
        raise _FaultError("hex is empty")
    return data


def _no_constant(text: str) -> None:
    raise _FaultError(f"{text} is not a number")


class RecordedTransport:
    """Play a recorded stream: at once, with stamps taken from ``t``, or ``paced`` as it came.

    ``wait(event, seconds)`` waits for the stop event for at most that long and tells whether it is set.
    """

    def __init__(
        self,
        address: str,
        profile: Profile,
        clock: Clock,
        *,
        paced: bool = False,
        wait: Callable[[threading.Event, float], bool] = threading.Event.wait,
    ) -> None:
        self._file = Path(part_after("recorded", address))
        self._address = address
        self._clock = clock
        self._paced = paced
        self._wait = wait
        self._stop = threading.Event()
        self._player: threading.Thread | None = None

    def open(self, sink: Sink) -> Mapping[str, str]:
        """Read the whole file and start playing; raise ``DeviceTrouble`` or ``BadFile``."""
        try:
            text = self._file.read_text(encoding="utf-8")
        except OSError as error:
            raise self._trouble(f"{self._file} cannot be read", error.strerror or str(error)) from error
        except UnicodeDecodeError as error:
            raise BadFile(str(self._file), [(0, "not UTF-8")], allowed=_ALLOWED, do="record it again") from error
        chunks = parse_recorded(text, path=str(self._file))
        name = f"axledger play {self._file.name}"
        thread = threading.Thread(target=self._run, args=(chunks, sink), name=name, daemon=True)
        thread.start()
        self._player = thread  # only now, as another thread that closes may join it
        return {"address": self._address}

    def write(self, data: bytes) -> None:
        """Raise ``DeviceTrouble``: a recording takes no commands."""
        raise self._trouble(f"nothing can be sent to {self._address}", f"{len(data)} bytes to send")

    def reader_alive(self) -> bool:
        """Tell whether the stream still plays."""
        return self._player is not None and self._player.is_alive()

    def close(self) -> None:
        """Stop playing; calling it twice is harmless."""
        self._stop.set()
        if self._player is not None and self._player is not threading.current_thread():
            self._player.join(2.0)

    def _run(self, chunks: tuple[RecordedChunk, ...], sink: Sink) -> None:
        began = self._clock.now()
        played_ns = 0
        for chunk in chunks:
            gap_ns, played_ns = chunk.at_ns - played_ns, chunk.at_ns
            if self._stop.is_set() or (self._paced and self._wait(self._stop, gap_ns / 1e9)):
                return
            sink(Arrived(_later(began, chunk.at_ns), chunk.data, chunk.channel))
        sink(Lost(_later(began, played_ns), "the recorded stream ended"))

    def _trouble(self, what: str, found: str) -> DeviceTrouble:
        return DeviceTrouble(
            what,
            cause=DeviceCause.OTHER,
            found=found,
            allowed="a readable recorded stream; it is played, it takes no commands",
            do="check the path after recorded:, and send commands to the device itself",
        )


def _later(stamp: Stamp, ns: int) -> Stamp:
    return Stamp(stamp.mono_ns + ns, stamp.utc_ns + ns)
