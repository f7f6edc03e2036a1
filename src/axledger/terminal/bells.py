"""Bells: accepted rings once, held or a slip suspected twice, refused three times, a lost link four times."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from typing import TextIO

from axledger.job.fold import Happening

__all__ = ["Bells", "rings_for"]

_RINGS = {"accepted": 1, "held": 2, "refused": 3}
_SUSPECTED = 2
_LINK_LOST = 4
_LOST_WORDS = ("link lost", "link silent")


def rings_for(happenings: Sequence[Happening], *, suspected: bool = False) -> int:
    """Return how often to ring for what happened: the worst of it counts, 0 for nothing worth a sound.

    ``suspected``: a slip is suspected that was not before.
    """
    worst = max((_rings(happening) for happening in happenings), default=0)
    return max(worst, _SUSPECTED) if suspected else worst


def _rings(happening: Happening) -> int:
    if happening.kind == "link":
        return _LINK_LOST if any(words in happening.words for words in _LOST_WORDS) else 0
    return _RINGS.get(happening.kind, 0)


class Bells:
    """Rings on ``stream``, ``gap_s`` apart so that they can be counted, without holding up the caller."""

    def __init__(self, stream: TextIO, *, gap_s: float = 0.2, wait: Callable[[float], None] = time.sleep) -> None:
        self._stream = stream
        self._gap_s = gap_s
        self._wait = wait
        self._wanted: queue.SimpleQueue[int] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def ring(self, times: int) -> None:
        """Ring ``times`` times; a second call waits for the first to end."""
        if times <= 0:
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="bells", daemon=True)
            self._thread.start()
        self._wanted.put(times)

    def stop(self) -> None:
        """End after what was asked for so far."""
        if self._thread is not None:
            self._wanted.put(0)
            self._thread.join()
            self._thread = None

    def _work(self) -> None:
        while times := self._wanted.get():
            for _ in range(times):
                self._stream.write("\a")
                self._stream.flush()
                self._wait(self._gap_s)
            self._wait(2 * self._gap_s)  # a longer gap parts one signal from the next
