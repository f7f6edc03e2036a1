"""A clock that moves only when told."""

from __future__ import annotations

import threading

from axledger.contract.errors import BadInput
from axledger.contract.transport import Stamp

__all__ = ["START_UTC_NS", "VirtualClock"]

START_UTC_NS = 1_767_600_000_000_000_000
"""2026-01-05T08:00:00Z, a Monday morning of our own choice; computed with ``datetime.timestamp``."""
_START_MONO_NS = 1_000_000_000  # not zero, so that a forgotten stamp shows


class VirtualClock:
    """A clock for simulations: starts at a fixed moment and moves by ``advance`` alone. Safe between threads."""

    def __init__(self, *, utc_ns: int = START_UTC_NS, mono_ns: int = _START_MONO_NS) -> None:
        self._utc_ns = utc_ns
        self._mono_ns = mono_ns
        self._lock = threading.Lock()

    def now(self) -> Stamp:
        """Return the present simulated moment."""
        with self._lock:
            return Stamp(self._mono_ns, self._utc_ns)

    def advance(self, seconds: float) -> Stamp:
        """Move on by ``seconds`` and return the new moment; raise ``BadInput`` for a step back."""
        if not seconds >= 0:
            raise BadInput(
                "a clock does not run backwards",
                found=f"{seconds} s",
                allowed="zero or more seconds",
                do="advance by a time that is not negative",
            )
        step_ns = round(seconds * 1e9)
        with self._lock:
            self._mono_ns += step_ns
            self._utc_ns += step_ns
            return Stamp(self._mono_ns, self._utc_ns)
