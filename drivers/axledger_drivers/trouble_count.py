"""The same trouble, told once and counted, so that a dead port never fills a log."""

from __future__ import annotations

from dataclasses import dataclass, replace

from axledger.contract.errors import AxledgerError, DeviceCause, DeviceTrouble

__all__ = ["Trouble", "TroubleCount"]

_AGAIN_NS = 60_000_000_000  # the same words at most once a minute; field practice, no source
_BUSY_NS = 15_000_000_000  # system services probe a new port for some seconds; field practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One kind of trouble: the latest ``error``, how often it came in a row, and since when (monotonic ns)."""

    error: AxledgerError
    count: int
    since_ns: int


class TroubleCount:
    """Count troubles in a row and say which of them are worth telling."""

    def __init__(self) -> None:
        self.latest: Trouble | None = None
        self._told_ns: int | None = None

    def note(self, error: AxledgerError, now_ns: int) -> bool:
        """Count ``error``; tell whether to report it: at its first coming and then once a minute.

        A busy port is told after 15 s only, as that long it is most often the system itself that holds it.
        """
        known = self.latest
        if known is not None and known.error.what == error.what:
            self.latest = replace(known, error=error, count=known.count + 1)
        else:
            self.latest = Trouble(error=error, count=1, since_ns=now_ns)
            self._told_ns = None
        if _is_busy(error) and now_ns - self.latest.since_ns < _BUSY_NS:
            return False
        if self._told_ns is not None and now_ns - self._told_ns < _AGAIN_NS:
            return False
        self._told_ns = now_ns
        return True

    def clear(self) -> None:
        """Forget: the link works."""
        self.latest = None
        self._told_ns = None


def _is_busy(error: AxledgerError) -> bool:
    return isinstance(error, DeviceTrouble) and error.cause is DeviceCause.BUSY
