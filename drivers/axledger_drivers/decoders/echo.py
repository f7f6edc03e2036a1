"""Know a copy of our own command when it comes back.

Half-duplex adapters hear themselves and some devices repeat the command letter. A copy counts only when it stands
first after the sending and in time; it may be cut short at either end.
"""

from __future__ import annotations

__all__ = ["EchoWatch", "copies"]

_NS_PER_MS = 1_000_000


def copies(sent: bytes) -> tuple[bytes, ...]:
    """Return the whole and every part of ``sent`` that begins or ends with it, longest first."""
    parts = {sent[:stop] for stop in range(1, len(sent) + 1)} | {sent[start:] for start in range(len(sent))}
    return tuple(sorted(parts, key=lambda part: (-len(part), part)))


class EchoWatch:
    """Remember what was sent and has not come back."""

    def __init__(self, echo_ms: int) -> None:
        self._window_ns = echo_ms * _NS_PER_MS
        self._sent: list[tuple[bytes, int]] = []

    def sent(self, data: bytes, at_ns: int) -> None:
        """Take note of ``data``; its end mark does not count, as the echo's is cut off with the line's."""
        self._sent = [entry for entry in self._sent if at_ns - entry[1] <= self._window_ns]
        if core := data.strip(b"\r\n\0"):
            self._sent.append((core, at_ns))

    def expected(self, start_ns: int) -> bytes | None:
        """Return what a line that began at ``start_ns`` may be a copy of."""
        self._sent = [entry for entry in self._sent if start_ns - entry[1] <= self._window_ns]
        return next((core for core, at_ns in self._sent if at_ns <= start_ns), None)

    def heard(self) -> None:
        """Take the oldest one off: its copy came."""
        del self._sent[:1]

    def passed(self, start_ns: int) -> None:
        """Forget what was sent up to ``start_ns``: something else stood first."""
        self._sent = [entry for entry in self._sent if entry[1] > start_ns]
