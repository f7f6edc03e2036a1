"""The decoder's side of the contract: sans-I/O, pure, time as an argument."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from axledger.contract.frame import Frame
from axledger.contract.profile import Profile

__all__ = ["Decoder", "DecoderFactory"]


@runtime_checkable
class Decoder(Protocol):
    """Turn bytes into frames.

    A decoder never raises on data, never reads a clock and never loses a byte: ``b"".join(frame.raw)`` over
    everything returned, ``finish()`` included, equals the bytes fed. Times are monotonic nanoseconds and never
    run backwards within one decoder.
    """

    def feed(self, data: bytes, at_ns: int) -> tuple[Frame, ...]:
        """Take bytes that arrived at ``at_ns``; return the frames they complete."""
        ...

    def sent(self, data: bytes, at_ns: int) -> None:
        """Take note of bytes written to the device at ``at_ns``, so that an echo can be known."""
        ...

    def quiet(self, now_ns: int) -> tuple[Frame, ...]:
        """Return the frames that a gap up to ``now_ns`` ends."""
        ...

    def finish(self) -> tuple[Frame, ...]:
        """End the stream; return what is left, complete or not."""
        ...


class DecoderFactory(Protocol):
    """Build a decoder for a profile; the class registered under ``axledger.decoders``."""

    def __call__(self, profile: Profile) -> Decoder:
        """Return a fresh decoder in its initial state."""
        ...
