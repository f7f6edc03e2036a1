"""One examination for all registered profiles and the decoders they name.

To add a profile, put ``NAME.jsonl`` (what a device sends: ``t`` in s, ``hex``) and ``NAME.json`` (what it means, read
by hand) into ``streams``. All streams are examples of our own invention.
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.decoder import Decoder
from axledger.contract.frame import DeviceFault, Frame, Measured, Status, StatusKind, Unreadable, Value
from axledger.contract.profile import LineEnd, MeasuredLine, Profile
from axledger.contract.quantity import UNITS, Quantity
from axledger_drivers.registry import decoder_for, load_profile, profile_names, profile_text
from axledger_drivers.transports.recorded import RecordedChunk, parse_recorded

STREAMS = Path(__file__).parent / "streams"
NAMES = profile_names()
LONG_AFTER_NS = 120_000_000_000
UNITS_OF_KEYS = {Quantity.LENGTH: ("length_mm", 1000.0), Quantity.INCLINATION: ("inclination_deg", math.degrees(1))}


def stream(name: str) -> tuple[RecordedChunk, ...]:
    file = STREAMS / f"{name}.jsonl"
    return parse_recorded(file.read_text(encoding="utf-8"), path=str(file))


def play(profile: Profile, chunks: list[tuple[int, bytes]]) -> list[Frame]:
    decoder = decoder_for(profile)
    frames = [frame for at_ns, data in chunks for frame in decoder.feed(data, at_ns)]
    frames += decoder.quiet(chunks[-1][0] + LONG_AFTER_NS if chunks else 0)
    return [*frames, *decoder.finish()]


def whole(name: str) -> list[tuple[int, bytes]]:
    return [(chunk.at_ns, chunk.data) for chunk in stream(name)]


def singly(name: str) -> list[tuple[int, bytes]]:
    return [(chunk.at_ns, bytes([byte])) for chunk in stream(name) for byte in chunk.data]


def numbers(values: tuple[Value, ...]) -> dict[str, Any]:
    scaled = [(UNITS_OF_KEYS.get(value.quantity, (value.quantity.value, 1.0)), value.si) for value in values]
    return {key: round(si * factor, 6) for (key, factor), si in scaled}


def meaning(frame: Frame) -> dict[str, Any]:
    match frame.outcome:
        case Measured(values=values, quality=quality, counter=counter):
            told: dict[str, Any] = numbers(values)
            if quality is not None:
                told |= {"quality": quality.figure, "doubtful": quality.doubtful}
            return told | ({"counter": counter} if counter is not None else {})
        case DeviceFault(code=code):
            return {"fault": code}
        case Status(kind=kind, values=values):
            return {"status": kind.value, **numbers(values)}
        case Unreadable(why=why):
            return {"unreadable": why}
        case other:
            return {"echo": other.of.hex()}


def agrees(found: dict[str, Any], expected: dict[str, Any]) -> bool:
    """Tell whether both say the same; of a refusal the expected words have to stand in the found ones."""
    if "unreadable" in expected:
        return expected["unreadable"] in found.get("unreadable", "")
    return found == expected


def is_blank(frame: Frame) -> bool:
    return isinstance(frame.outcome, Status) and frame.outcome.kind is StatusKind.BLANK


@pytest.mark.parametrize("name", NAMES)
def test_decoder_is_built_without_hardware(name: str) -> None:
    profile = load_profile(name)
    assert isinstance(decoder_for(profile), Decoder)
    assert profile.title
    assert profile.quantities()


@pytest.mark.parametrize("name", NAMES)
def test_stream_means_what_it_says(name: str) -> None:
    frames = play(load_profile(name), whole(name))
    assert b"".join(frame.raw for frame in frames) == b"".join(data for _, data in whole(name))
    found = [meaning(frame) for frame in frames if not is_blank(frame)]
    expected = json.loads((STREAMS / f"{name}.json").read_text(encoding="utf-8"))
    assert len(found) == len(expected), found
    assert [pair for pair in zip(found, expected, strict=True) if not agrees(*pair)] == []


@pytest.mark.parametrize("name", NAMES)
def test_stream_cut_into_bytes_gives_the_same_frames(name: str) -> None:
    profile = load_profile(name)
    assert profile.framing.end is not LineEnd.MESSAGE, "a chunk is the message there: examine it another way"
    assert play(profile, singly(name)) == play(profile, whole(name))


@pytest.mark.parametrize("name", NAMES)
def test_stream_uses_every_rule_of_the_profile(name: str) -> None:
    profile = load_profile(name)
    lines = [frame.raw.strip(b"\r\n\0").decode("latin-1") for frame in play(profile, whole(name))]
    unused = [rule.pattern for rule in profile.line if not any(re.fullmatch(rule.pattern, line) for line in lines)]
    assert unused == []


@pytest.mark.parametrize("name", NAMES)
@given(data=st.data())
def test_damage_loses_no_byte_and_stops_nothing(name: str, data: st.DataObject) -> None:
    stream_bytes = bytearray(b"".join(chunk for _, chunk in whole(name)))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(stream_bytes) - 1))
        stream_bytes[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
        stream_bytes += b"\r"
    frames = play(load_profile(name), [(0, bytes(stream_bytes))])
    assert b"".join(frame.raw for frame in frames) == bytes(stream_bytes)
    values = [value for frame in frames if isinstance(frame.outcome, Measured) for value in frame.outcome.values]
    assert all(math.isfinite(value.si) and value.resolution_si > 0 for value in values)


@pytest.mark.parametrize("name", NAMES)
def test_after_damage_the_next_good_line_counts(name: str) -> None:
    profile = load_profile(name)
    good = next(frame.raw for frame in play(profile, whole(name)) if isinstance(frame.outcome, Measured))
    frames = play(profile, [(0, bytes(range(256)) + b"\r\n"), (1, good), (2, b"\r\n")])
    assert [type(frame.outcome) for frame in frames if not is_blank(frame)][-1] is Measured


def checked_lines() -> list[tuple[str, bytes]]:
    found: list[tuple[str, bytes]] = []
    for name in NAMES:
        profile = load_profile(name)
        if all(line.check for line in profile.line if isinstance(line, MeasuredLine)):
            frames = play(profile, whole(name))
            found += [(name, frame.raw) for frame in frames if isinstance(frame.outcome, Measured)]
    return found


@pytest.mark.parametrize(("name", "raw"), checked_lines())
def test_one_wrong_byte_in_a_checked_line_is_never_a_reading(name: str, raw: bytes) -> None:
    """An exclusive or sees every change of one byte; all 256 values are tried at every place."""
    body = raw.strip(b"\r\n")
    decoder = decoder_for(load_profile(name))
    places = [(at, byte) for at in range(len(body)) for byte in range(256) if byte != body[at]]
    damaged = [body[:at] + bytes([byte]) + body[at + 1 :] + b"\r" for at, byte in places]
    frames = [frame for line in damaged for frame in decoder.feed(line, 0)]
    assert [frame.raw for frame in frames if isinstance(frame.outcome, Measured)] == []


@pytest.mark.parametrize("name", NAMES)
def test_units_are_documented(name: str) -> None:
    profile = load_profile(name)
    fields = [field for line in profile.line if isinstance(line, MeasuredLine) for field in line.value]
    for field in fields:
        symbols = [field.unit] if field.unit is not None else list(field.units.values())
        assert {UNITS[symbol or ""].quantity for symbol in symbols} == {field.quantity}
    assert set(profile.resolution) == (set() if profile.transports[0] == "typed" else profile.quantities())
    comments = [line for line in profile_text(name).splitlines() if line.startswith("#")]
    assert len(comments) >= 3, "a profile begins by showing the lines it reads"
