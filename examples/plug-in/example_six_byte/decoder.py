"""Cut six-byte blocks out of a stream and give them to the profile's rules."""

from __future__ import annotations

from axledger.contract.frame import Frame, Outcome, Unreadable
from axledger.contract.profile import Profile
from axledger_drivers.decoders.checks import check_sum
from axledger_drivers.decoders.rule import RuleBook

__all__ = ["SixByteDecoder"]

_START = 0xA5
_SIZE = 6


class SixByteDecoder:
    """Turn bytes into frames; implements ``axledger.contract.decoder.Decoder``.

    A block whose check fails gives up its first byte only: the next start byte may stand inside it. Bytes that
    belong to no block come out as ``Unreadable``, timed when that was settled, so that the frames joined are always
    the bytes fed.
    """

    def __init__(self, profile: Profile) -> None:
        self._book = RuleBook(profile)
        self._stale_ns = profile.framing.stale_ms * 1_000_000
        self._held = bytearray()
        self._last_ns = 0

    def feed(self, data: bytes, at_ns: int) -> tuple[Frame, ...]:
        """Take bytes that arrived at ``at_ns`` (monotonic ns); return the frames they complete."""
        frames = list(self.quiet(at_ns))
        self._last_ns = at_ns
        for byte in data:
            self._held.append(byte)
            frames += self._complete()
        return tuple(frames)

    def sent(self, data: bytes, at_ns: int) -> None:
        """Take note of nothing: this device has no commands and returns no echo."""

    def quiet(self, now_ns: int) -> tuple[Frame, ...]:
        """Return a part that waited longer than the profile's ``stale_ms`` for its rest."""
        return self.finish() if self._held and now_ns - self._last_ns >= self._stale_ns else ()

    def finish(self) -> tuple[Frame, ...]:
        """End the stream; what is left is no whole block."""
        return (self._cut(len(self._held), Unreadable("incomplete: part of a block")),) if self._held else ()

    def _complete(self) -> list[Frame]:
        """Return what the newest byte settles; afterwards the bytes held may still become a block."""
        frames: list[Frame] = []
        while self._held and (self._held[0] != _START or len(self._held) == _SIZE):
            if self._held[0] != _START:
                frames.append(self._cut(1, Unreadable("a byte outside any block")))
            elif check_sum("xor", bytes(self._held[1:5])) != self._held[5]:
                frames.append(self._cut(1, Unreadable("xor check failed, or no block starts here")))
            else:
                frames.append(self._cut(_SIZE, self._meaning(bytes(self._held))))
        return frames

    def _meaning(self, block: bytes) -> Outcome:
        text = f"{block[1]} {int.from_bytes(block[2:5], 'big')}"
        return self._book.read(text.encode("ascii")) or Unreadable(f"no rule of the profile reads {text!r}")

    def _cut(self, size: int, outcome: Outcome) -> Frame:
        raw = bytes(self._held[:size])
        del self._held[:size]
        return Frame(raw=raw, at_ns=self._last_ns, outcome=outcome)
