"""What a decoder must offer. What it must do with bytes is examined beside the decoders."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from importlib.metadata import EntryPoint, entry_points

import pytest

from axledger.contract.decoder import Decoder, DecoderFactory
from axledger.contract.frame import Frame, Measured, Unreadable
from axledger.contract.quantity import Quantity
from axledger_drivers.registry import load_profile

METHODS = ("feed", "sent", "quiet", "finish")
REGISTERED = sorted(entry_points(group="axledger.decoders"), key=lambda entry: entry.name)


class SixBytes:
    """A decoder somebody else might write: every six bytes are a frame. It derives from nothing of ours."""

    def __init__(self) -> None:
        self._left = b""
        self._at_ns = 0

    def feed(self, data: bytes, at_ns: int) -> tuple[Frame, ...]:
        self._left, self._at_ns = self._left + data, at_ns
        whole = len(self._left) // 6 * 6
        done, self._left = self._left[:whole], self._left[whole:]
        return tuple(self._frame(done[place : place + 6]) for place in range(0, whole, 6))

    def sent(self, data: bytes, at_ns: int) -> None:
        """Do nothing: this device echoes nothing."""

    def quiet(self, now_ns: int) -> tuple[Frame, ...]:
        return ()

    def finish(self) -> tuple[Frame, ...]:
        left, self._left = self._left, b""
        return (self._frame(left),) if left else ()

    def _frame(self, raw: bytes) -> Frame:
        return Frame(raw=raw, at_ns=self._at_ns, outcome=Unreadable("only counted"))


def parameters(function: Callable[..., object]) -> list[tuple[str, object]]:
    return [(found.name, found.kind) for found in inspect.signature(function).parameters.values()]


def test_a_class_of_somebody_else_is_a_decoder_by_what_it_can() -> None:
    decoder: Decoder = SixBytes()
    assert isinstance(decoder, Decoder)
    frames = [*decoder.feed(b"abcdefgh", 5), *decoder.feed(b"ijklm", 9), *decoder.quiet(10), *decoder.finish()]
    assert [(frame.raw, frame.at_ns) for frame in frames] == [(b"abcdef", 5), (b"ghijkl", 9), (b"m", 9)]


@pytest.mark.parametrize("missing", METHODS)
def test_what_lacks_a_method_is_no_decoder(missing: str) -> None:
    partial = type("Partial", (), {name: getattr(SixBytes, name) for name in METHODS if name != missing})
    assert not isinstance(partial(), Decoder)


@pytest.mark.parametrize("entry", REGISTERED, ids=lambda entry: entry.name)
def test_every_registered_decoder_takes_what_the_contract_says(entry: EntryPoint) -> None:
    registered = entry.load()
    for name in METHODS:
        assert parameters(getattr(registered, name)) == parameters(getattr(Decoder, name))
    assert parameters(registered) == parameters(DecoderFactory.__call__)[1:]


def test_every_decoder_built_is_in_its_initial_state() -> None:
    (factory,) = [entry.load() for entry in REGISTERED if entry.name == "line"]
    make: DecoderFactory = factory
    profile = load_profile("metre-line")
    first, second = make(profile), make(profile)
    assert first.feed(b"4.3", 1) == ()
    rest = b"".join(frame.raw for frame in (*second.feed(b"18m\r\n", 2), *second.finish()))
    assert rest == b"18m\r\n"  # nothing of what the other one was fed
    measured = [frame for frame in first.feed(b"18m\r\n", 3) if isinstance(frame.outcome, Measured)]
    assert [(frame.at_ns, lengths(frame)) for frame in measured] == [(3, [4.318])]


def lengths(frame: Frame) -> list[float]:
    assert isinstance(frame.outcome, Measured)
    return [value.si for value in frame.outcome.values if value.quantity is Quantity.LENGTH]
