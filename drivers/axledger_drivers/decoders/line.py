"""The decoder of text lines: any device that a profile's line rules describe."""

from __future__ import annotations

from collections.abc import Iterable

from axledger.contract.frame import Echo, Frame, Measured, Outcome, Status, StatusKind, Unreadable
from axledger.contract.profile import Profile
from axledger_drivers.decoders.echo import EchoWatch, copies
from axledger_drivers.decoders.hint import misfit_words, shown
from axledger_drivers.decoders.lines import Cut, CutKind, LineCutter
from axledger_drivers.decoders.rule import RuleBook

__all__ = ["LineDecoder"]

_LATE_REST_WAITS = 10
"""A rest may come this many stale times late and still be taken for one. Field practice, no source."""
_PADDING = b"\r\n\0"
_BLANKS = b" \t" + _PADDING


class LineDecoder:
    """Turn bytes into frames by a profile's line rules; implements ``axledger.contract.decoder.Decoder``.

    With ``end = "any"`` a line ended by CR is delivered at once, and the LF of a CRLF pair follows as a frame of its
    own (``Status`` ``BLANK``), so that frames never depend on how the stream was cut. At the end of a link call
    ``quiet`` with the closing time before ``finish``: a line that only a gap can end is complete only by then.
    """

    def __init__(self, profile: Profile) -> None:
        self._profile_name = profile.name
        self._cutter = LineCutter(profile.framing)
        self._stale_ms = profile.framing.stale_ms
        self._book = RuleBook(profile)
        self._echo = EchoWatch(profile.timing.echo_ms)
        self._before_ns = 0
        self._before: tuple[bytes, ...] = ()  # the stale part in front of the next line, with and without an echo
        self._misfits = 0

    def feed(self, data: bytes, at_ns: int) -> tuple[Frame, ...]:
        """Take bytes that arrived at ``at_ns`` (monotonic ns); return the frames they complete."""
        return self._frames(self._cutter.feed(data, at_ns))

    def sent(self, data: bytes, at_ns: int) -> None:
        """Take note of bytes written to the device at ``at_ns``, so that an echo can be known."""
        self._echo.sent(data, at_ns)

    def quiet(self, now_ns: int) -> tuple[Frame, ...]:
        """Return the frames that a gap up to ``now_ns`` ends."""
        return self._frames(self._cutter.quiet(now_ns))

    def finish(self) -> tuple[Frame, ...]:
        """End the stream; what is left is incomplete, as nothing has ended it."""
        return self._frames(self._cutter.finish())

    def _frames(self, cuts: Iterable[Cut]) -> tuple[Frame, ...]:
        return tuple(frame for cut in cuts for frame in self._judge(cut))

    def _judge(self, cut: Cut) -> tuple[Frame, ...]:
        if cut.kind is CutKind.OVERLONG:
            self._before = ()
            self._misfits += 1
            return (
                _frame(cut, Unreadable(f"overlong: a piece of a line that did not end in time, {shown(cut.body)}")),
            )
        if not cut.body.strip(_BLANKS) and not self._book.matches(cut.body):
            if cut.kind is CutKind.LINE:
                self._before = ()  # an end mark alone: the part before it did end, and is not continued
            return (_frame(cut, Status(StatusKind.BLANK, "")),)
        expected = self._echo.expected(cut.start_ns)
        frames = self._part(cut, expected) if cut.kind is not CutKind.LINE else self._line(cut, expected)
        if any(isinstance(frame.outcome, Echo) for frame in frames):
            self._echo.heard()
        else:
            self._echo.passed(cut.start_ns)
        return frames

    def _part(self, cut: Cut, expected: bytes | None) -> tuple[Frame, ...]:
        """Judge a part that never ended: an echo without an end mark, or incomplete."""
        if expected is not None and cut.body in copies(expected):
            return (_frame(cut, Echo(expected)),)
        heads = [head for head in copies(expected or b"") if cut.body.startswith(head)]
        self._before_ns = cut.at_ns
        self._before = (cut.body, *(cut.body[len(head) :] for head in heads))
        waited = f"nothing followed for {self._stale_ms} ms" if cut.kind is CutKind.STALE else "the stream ended here"
        return (_frame(cut, self._misfit(f"incomplete: {waited} after {shown(cut.body)}", cut.body)),)

    def _line(self, cut: Cut, expected: bytes | None) -> tuple[Frame, ...]:
        late = cut.start_ns - self._before_ns > _LATE_REST_WAITS * self._stale_ms * 1_000_000
        before, self._before = () if late else self._before, ()
        if expected is not None and cut.body == expected:
            return (_frame(cut, Echo(expected)),)
        whole = self._book.read(cut.body)
        if expected is not None and (split := self._split(cut, expected, whole)):
            return split
        if whole is None:
            why = f"no line of profile {self._profile_name} reads {shown(cut.body)}"
            return (_frame(cut, self._misfit(why, cut.body)),)
        self._misfits = 0
        joined = next((part + cut.body for part in before if self._book.matches(part + cut.body)), None)
        if joined is not None and isinstance(whole, Measured):
            return (_frame(cut, Unreadable(f"may be the late rest of {shown(joined)}, whose first part came alone")),)
        return (_frame(cut, whole),)

    def _split(self, cut: Cut, expected: bytes, whole: Outcome | None) -> tuple[Frame, ...]:
        """Part an echo from the answer glued to it; return nothing where the line is whole as it stands."""
        parts = copies(expected)
        answers = [
            (head, outcome)
            for head in parts
            if cut.body.startswith(head) and (outcome := self._book.read(cut.body[len(head) :].strip(_PADDING)))
        ]
        if whole is not None:
            if all(outcome == whole for _, outcome in answers):
                return ()
            return (
                _frame(cut, Unreadable(f"ambiguous: {shown(cut.body)} may begin with the echo of {shown(expected)}")),
            )
        if not answers:
            return (_frame(cut, Echo(expected)),) if cut.body in parts else ()
        head, outcome = answers[0]
        if any(other != outcome for _, other in answers):
            return (
                _frame(cut, Unreadable(f"ambiguous: the echo of {shown(expected)} cannot be told from the answer")),
            )
        self._misfits = 0
        stop = cut.body_start + len(head)
        echo = Frame(raw=cut.raw[:stop], at_ns=cut.time_of(stop), outcome=Echo(expected))
        return echo, Frame(raw=cut.raw[stop:], at_ns=cut.at_ns, outcome=outcome)

    def _misfit(self, why: str, body: bytes) -> Unreadable:
        self._misfits += 1
        hint = misfit_words(body, self._book.matches, in_a_row=self._misfits)
        return Unreadable(f"{why}; {hint}" if hint else why)


def _frame(cut: Cut, outcome: Outcome) -> Frame:
    return Frame(raw=cut.raw, at_ns=cut.at_ns, outcome=outcome)
