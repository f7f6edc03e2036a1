"""One link's arrivals become readings: decoding, repeats, backlog.

Live and replay are this same code. A decoder is told of passing time by the times of entries and, live, by the
clock; a gap ends a frame at the same place either way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from axledger.contract.decoder import Decoder
from axledger.contract.frame import DeviceFault, Echo, Frame, Measured, Status, StatusKind, Unreadable
from axledger.contract.profile import LineEnd, Profile

__all__ = ["Heard", "LinkFold"]

_DOUBLED_NS = 20_000_000
"""Identical bytes this soon after each other are one delivery doubled by the system (field practice, no source)."""

Use = Literal["reading", "repeat", "backlog", "not a reading"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A frame and what it is good for before any shot is asked: ``why`` says so in words."""

    link: str
    seq: int
    frame: Frame
    use: Use
    why: str = ""


@dataclass(slots=True)
class LinkFold:
    """The state of one link. ``role`` is "meter" or "inclinometer"; ``state`` as in the link entries."""

    link: str
    role: str
    instrument: str
    address: str
    profile: Profile
    make_decoder: Callable[[Profile], Decoder]
    state: str = "opened"
    identity: dict[str, str] = field(default_factory=dict[str, str])
    why: str = ""
    last_heard_ns: int | None = None
    arrivals: int = 0
    _decoder: Decoder = field(init=False)
    _opened_ns: int = 0
    _seq: int = 0
    _counters: tuple[str | None, bytes, int] = (None, b"", 0)
    _previous: tuple[bytes, int] = (b"", -(10**18))
    _reading_ns: int | None = None

    def __post_init__(self) -> None:
        self._decoder = self.make_decoder(self.profile)

    @property
    def gap_ns(self) -> int:
        """Return how long after its last byte a gap ends a line of this link."""
        framing = self.profile.framing
        return (framing.quiet_ms if framing.end is LineEnd.QUIET else framing.stale_ms) * 1_000_000

    def goes_on_from(self, earlier: LinkFold) -> None:
        """Know the last measurement of the same device on an earlier link: it may be sent again on this one."""
        self._counters = earlier._counters

    def opened(self, at_ns: int, state: str) -> tuple[Heard, ...]:
        """Start afresh at ``at_ns``: whatever half line was pending ended with the old connection."""
        left = self.ended(state)
        self._decoder = self.make_decoder(self.profile)
        self._opened_ns = at_ns
        self._reading_ns = None
        return left

    def ended(self, state: str) -> tuple[Heard, ...]:
        """End the stream; return what was pending."""
        self.state = state
        return self._heard(self._decoder.finish())

    def feed(self, data: bytes, at_ns: int, seq: int) -> tuple[Heard, ...]:
        """Take an arrival, entry ``seq``."""
        early = self.quiet(at_ns)
        self._seq = seq
        self.arrivals += 1
        self.last_heard_ns = at_ns
        if self.state == "silent":
            self.state = "opened"
        return early + self._heard(self._decoder.feed(data, at_ns))

    def sent(self, data: bytes, at_ns: int) -> tuple[Heard, ...]:
        """Take note of bytes sent. What comes after a measure command was asked for: neither old nor doubled."""
        early = self.quiet(at_ns)
        self._decoder.sent(data, at_ns)
        if data == (self.profile.commands.measure or "").encode("latin-1"):
            self._opened_ns = at_ns - round(self.profile.timing.backlog_s * 1e9)
            self._reading_ns = None
            self._previous = (b"", -(10**18))
        return early

    def quiet(self, now_ns: int) -> tuple[Heard, ...]:
        """Let time pass up to ``now_ns``."""
        if self.state in ("lost", "closed") or now_ns < (self.last_heard_ns or 0):
            return ()  # an ended stream waits for nothing; after a restart the monotonic clock may start lower
        return self._heard(self._decoder.quiet(now_ns))

    def _heard(self, frames: tuple[Frame, ...]) -> tuple[Heard, ...]:
        return tuple(self._sorted(frame) for frame in frames)

    def _sorted(self, frame: Frame) -> Heard:
        use, why = self._use(frame)
        return Heard(link=self.link, seq=self._seq, frame=frame, use=use, why=why)

    def _use(self, frame: Frame) -> tuple[Use, str]:
        outcome = frame.outcome
        if not isinstance(outcome, Measured):
            return "not a reading", describe(outcome)
        if outcome.held:
            return "not a reading", "a held or computed value, not a live one"
        doubled = frame.raw == self._previous[0] and frame.at_ns - self._previous[1] <= _DOUBLED_NS
        self._previous = (frame.raw, frame.at_ns)
        if outcome.counter is not None:
            if (outcome.counter, frame.raw) == self._counters[:2]:
                return "repeat", f"sent again with the device's number {outcome.counter}"
            self._counters = (outcome.counter, frame.raw, frame.at_ns)
        elif doubled:
            return "repeat", "the same bytes delivered twice"
        return self._timed(frame)

    def _timed(self, frame: Frame) -> tuple[Use, str]:
        timing = self.profile.timing
        since_opened = (frame.at_ns - self._opened_ns) / 1e9
        last, self._reading_ns = self._reading_ns, frame.at_ns
        # a first line may be stamped a moment before the link is told to be up, so zero means: no such time
        if timing.backlog_s > 0 and since_opened < timing.backlog_s:
            return "backlog", f"arrived {max(since_opened, 0.0):.1f} s after the link came up: taken before"
        if last is not None and (frame.at_ns - last) / 1e9 < timing.shortest_s:
            return "backlog", "arrived faster than the device can measure: taken before"
        return "reading", ""


def describe(outcome: DeviceFault | Status | Echo | Unreadable) -> str:
    """Say in words what an outcome without a measurement is."""
    if isinstance(outcome, DeviceFault):
        return f"no measurement: {outcome.words}" + (f" (code {outcome.code})" if outcome.code else "")
    if isinstance(outcome, Unreadable):
        return f"not understood: {outcome.why}"
    if isinstance(outcome, Echo):
        return "echo of what was sent"
    return "" if outcome.kind is StatusKind.BLANK else f"{outcome.kind.value}: {outcome.text.strip()}"
