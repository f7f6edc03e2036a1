from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.decoder import Decoder
from axledger.contract.frame import Echo, Frame, Measured, Unreadable
from axledger.contract.profile import Profile
from axledger_drivers.decoders.line import LineDecoder
from axledger_drivers.registry import load_profile, profile_names

MS = 1_000_000
ENDS = ["any", "crlf", "cr", "lf", "quiet", "message"]
LIKELY = st.lists(
    st.sampled_from([b"4.318m", b"D", b"D:4.318m,0093", b"\r", b"\n", b"\r\n", b"\0", b"4.3", b"+1.27\xb0", b" "])
    | st.binary(max_size=12),
    max_size=12,
).map(b"".join)


def metres(end: str, **framing: Any) -> Profile:
    field = {"group": "n", "quantity": "length", "unit": "m"}
    return Profile.model_validate(
        {
            "schema": 1,
            "name": "metres",
            "title": "example of our own",
            "transports": ["recorded"],
            "framing": {"end": end, "max_bytes": 16, **framing},
            "line": [
                {"kind": "measured", "pattern": r"(?:D:)?(?P<n>\d+\.\d+)m(?:,\d{4})?", "value": [field]},
                {"kind": "status", "pattern": "ok", "status": "acknowledgement"},
                {"kind": "status", "pattern": "o[k!]", "status": "banner"},
            ],
        }
    )


def raw(frames: list[Frame]) -> bytes:
    return b"".join(frame.raw for frame in frames)


@pytest.mark.parametrize("end", ENDS)
@given(data=st.data())
def test_no_byte_is_lost_and_nothing_raises(end: str, data: st.DataObject) -> None:
    """Any bytes, any cutting, sends and quiet calls anywhere."""
    decoder: Decoder = LineDecoder(metres(end))
    frames: list[Frame] = []
    fed = b""
    now_ns = 0
    for _ in range(data.draw(st.integers(0, 8))):
        now_ns += data.draw(st.sampled_from([0, 10 * MS, 60 * MS, 1100 * MS]))
        act = data.draw(st.sampled_from(["feed", "feed", "quiet", "sent"]))
        if act == "feed":
            chunk = data.draw(LIKELY)
            fed += chunk
            frames += decoder.feed(chunk, now_ns)
        elif act == "quiet":
            frames += decoder.quiet(now_ns)
        else:
            decoder.sent(data.draw(st.sampled_from([b"D", b"D\r\n", b"\r", b"4.3"])), now_ns)
    frames += decoder.finish()
    assert raw(frames) == fed
    assert all(frame.raw for frame in frames)
    assert [frame.at_ns for frame in frames] == sorted(frame.at_ns for frame in frames)


@pytest.mark.parametrize("end", ["any", "crlf", "cr", "lf"])
@given(stream=LIKELY, sent=st.booleans(), data=st.data())
def test_frames_do_not_depend_on_the_cutting(end: str, stream: bytes, sent: bool, data: st.DataObject) -> None:
    def frames(pieces: list[bytes]) -> list[Frame]:
        decoder = LineDecoder(metres(end))
        if sent:
            decoder.sent(b"D", 0)
        found = [frame for piece in pieces for frame in decoder.feed(piece, 5 * MS)]
        return [*found, *decoder.finish()]

    stops = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    pieces = [stream[a:b] for a, b in zip([0, *stops], [*stops, len(stream)], strict=True)]
    whole = frames([stream])
    assert frames(pieces) == whole
    assert frames([stream[i : i + 1] for i in range(len(stream))]) == whole


@given(chunks=st.lists(st.tuples(st.sampled_from([1, 60, 900, 1100]), LIKELY), max_size=6), end=st.sampled_from(ENDS))
def test_timer_calls_change_nothing_that_a_replay_would_see(chunks: list[tuple[int, bytes]], end: str) -> None:
    """A replay knows arrivals only; live, quiet is called all the time."""
    live, replay = LineDecoder(metres(end)), LineDecoder(metres(end))
    live_frames: list[Frame] = []
    replay_frames: list[Frame] = []
    now_ms = 0
    for wait_ms, chunk in chunks:
        for tick_ms in range(now_ms, now_ms + wait_ms, 40):
            live_frames += live.quiet(tick_ms * MS)
        now_ms += wait_ms
        live_frames += live.feed(chunk, now_ms * MS)
        replay_frames += replay.feed(chunk, now_ms * MS)
    closed_ns = (now_ms + 5000) * MS
    assert [*live_frames, *live.quiet(closed_ns)] == [*replay_frames, *replay.quiet(closed_ns)]


def test_ambiguous_line_names_both_rules() -> None:
    [frame] = LineDecoder(metres("any")).feed(b"ok\r", 0)
    assert isinstance(frame.outcome, Unreadable)
    assert "line 2 (status) and line 3 (status)" in frame.outcome.why


@pytest.mark.parametrize("data", [b"x" * 40 + b"4.318m\r", b"x" * 16 + b"4.318m\r", b"x" * 17 + b"4.318m\r"])
def test_tail_of_an_overlong_line_is_no_reading(data: bytes) -> None:
    decoder = LineDecoder(metres("any"))
    frames = decoder.feed(data, 0)
    assert raw(list(frames)) == data
    assert all(isinstance(frame.outcome, Unreadable) and "overlong" in frame.outcome.why for frame in frames)
    [after] = decoder.feed(b"4.318m\r", 1)
    assert isinstance(after.outcome, Measured)


def test_a_flood_without_an_end_is_bounded() -> None:
    decoder = LineDecoder(metres("any"))
    kept = sum(len(frame.raw) for _ in range(1000) for frame in decoder.feed(b"7", 0))
    assert 1000 - kept <= 17


def test_quiet_line_at_the_end_of_the_stream_is_incomplete_without_its_gap() -> None:
    decoder = LineDecoder(metres("quiet"))
    assert decoder.feed(b"4.318m", 0) == ()
    [frame] = decoder.finish()
    assert isinstance(frame.outcome, Unreadable)
    decoder = LineDecoder(metres("quiet"))
    assert decoder.feed(b"4.318m", 0) == ()
    [frame] = decoder.quiet(50 * MS)
    assert isinstance(frame.outcome, Measured)


def test_two_commands_and_two_echoes() -> None:
    decoder = LineDecoder(metres("any"))
    decoder.sent(b"A", 0)
    decoder.sent(b"B", 1 * MS)
    frames = decoder.feed(b"A\rB\r4.318m\r", 5 * MS)
    assert [type(frame.outcome) for frame in frames] == [Echo, Echo, Measured]


@pytest.mark.parametrize("name", profile_names())
def test_shipped_profiles_make_decoders(name: str) -> None:
    assert isinstance(LineDecoder(load_profile(name)), Decoder)
