"""Cut bytes into lines.

No byte is lost and no cut depends on how the bytes were delivered: for framings with an end mark the same bytes
at the same times give the same cuts, in one piece or one by one. So with ``any`` each CR and each LF ends a line,
at once: after a CR nobody waits to see whether an LF follows, and an LF that does follow is an empty line of its own.

Ways a stream comes damaged: CR and LF apart, no end mark, a line cut by a lost link, a line that goes on after
a pause, padding NULs, a flood without any end. Each becomes a cut of its own kind instead of a guess.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

from axledger.contract.profile import Framing, LineEnd

__all__ = ["Cut", "CutKind", "LineCutter"]

_PADDING = b"\r\n\0"
_NS_PER_MS = 1_000_000
_MARKS: dict[LineEnd, re.Pattern[bytes]] = {
    LineEnd.ANY: re.compile(rb"[\r\n]"),
    LineEnd.CRLF: re.compile(rb"\r\n"),
    LineEnd.CR: re.compile(rb"\r"),
    LineEnd.LF: re.compile(rb"\n"),
    LineEnd.QUIET: re.compile(rb"(?!)"),  # matches nothing: only a gap ends such a line
    LineEnd.MESSAGE: re.compile(rb"[\r\n]"),
}


class CutKind(Enum):
    """What ended a cut."""

    LINE = "a whole line"
    STALE = "a part that nothing followed in time"
    TAIL = "a part left at the end of the stream"
    OVERLONG = "a piece of a line longer than the cap"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Raw bytes with the times they arrived: ``arrivals`` holds ``(offset behind the last byte, at_ns)``."""

    raw: bytes
    kind: CutKind
    arrivals: tuple[tuple[int, int], ...]

    @property
    def start_ns(self) -> int:
        """Return when the first byte arrived."""
        return self.arrivals[0][1]

    @property
    def at_ns(self) -> int:
        """Return when the last byte arrived."""
        return self.arrivals[-1][1]

    @property
    def body_start(self) -> int:
        """Return the offset of the first byte of ``body``."""
        return len(self.raw) - len(self.raw.lstrip(_PADDING))

    @property
    def body(self) -> bytes:
        """Return the line without end marks and without NULs at either end."""
        return self.raw.strip(_PADDING)

    def time_of(self, stop: int) -> int:
        """Return when the byte in front of offset ``stop`` arrived."""
        return next(at_ns for behind, at_ns in self.arrivals if behind >= stop)


class LineCutter:
    """Hold what has arrived and not ended; never more than the cap, its end mark and one chunk."""

    def __init__(self, framing: Framing) -> None:
        self._end = framing.end
        self._mark = _MARKS[framing.end]
        self._mark_bytes = 2 if framing.end is LineEnd.CRLF else 1
        self._cap = framing.max_bytes
        limit_ms = framing.quiet_ms if framing.end is LineEnd.QUIET else framing.stale_ms
        self._gap_ns = limit_ms * _NS_PER_MS
        self._held = bytearray()
        self._arrivals: list[tuple[int, int]] = []
        self._searched = 0
        self._overlong = False
        self._last_ns: int | None = None

    def feed(self, data: bytes, at_ns: int) -> tuple[Cut, ...]:
        """Take ``data``; return the cuts it completes, led by what the gap before it ended.

        The gap is judged here as well as in ``quiet``, so that a replay without timer calls cuts the same.
        """
        cuts = list(self.quiet(at_ns))
        if not data:
            return tuple(cuts)
        self._held += data
        self._arrivals.append((len(self._held), at_ns))
        self._last_ns = at_ns
        while cut := self._next():
            cuts.append(cut)
        if self._end is LineEnd.MESSAGE:
            cuts += self._rest(CutKind.LINE)
        return tuple(cuts)

    def quiet(self, now_ns: int) -> tuple[Cut, ...]:
        """Return what a gap up to ``now_ns`` ends."""
        if self._last_ns is None or now_ns - self._last_ns < self._gap_ns:
            return ()
        return self._rest(CutKind.LINE if self._end is LineEnd.QUIET else CutKind.STALE)

    def finish(self) -> tuple[Cut, ...]:
        """Return what is left; a part is never a whole line here, as no gap has shown that it is complete."""
        return self._rest(CutKind.TAIL)

    def _next(self) -> Cut | None:
        found = self._mark.search(self._held, max(0, self._searched - self._mark_bytes + 1))
        if found and found.start() <= self._cap:
            kind = CutKind.OVERLONG if self._overlong else CutKind.LINE
            self._overlong = False
            return self._take(found.end(), kind)
        if len(self._held) >= self._cap + self._mark_bytes:
            self._overlong = True  # the tail of a long line may look like a good line, so it stays marked
            return self._take(self._cap, CutKind.OVERLONG)
        self._searched = len(self._held)
        return None

    def _rest(self, kind: CutKind) -> tuple[Cut, ...]:
        if self._overlong:
            kind = CutKind.OVERLONG
        self._overlong = False
        return (self._take(len(self._held), kind),) if self._held else ()

    def _take(self, length: int, kind: CutKind) -> Cut:
        raw = bytes(self._held[:length])
        inside = [(min(behind, length), at_ns) for behind, at_ns in self._arrivals]
        stop = next(index for index, (behind, _) in enumerate(self._arrivals) if behind >= length)
        cut = Cut(raw=raw, kind=kind, arrivals=tuple(inside[: stop + 1]))
        del self._held[:length]
        self._arrivals = [(behind - length, at_ns) for behind, at_ns in self._arrivals if behind > length]
        self._searched = 0
        return cut
