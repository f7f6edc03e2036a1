from __future__ import annotations

import pytest

from axledger.contract.profile import Framing, LineEnd
from axledger_drivers.decoders.lines import Cut, CutKind, LineCutter

MS = 1_000_000


@pytest.mark.parametrize(
    ("end", "pieces"),
    [
        (LineEnd.ANY, [b"a\r", b"\n", b"b\n", b"c\r"]),
        (LineEnd.CRLF, [b"a\r\n", b"b\nc\r"]),
        (LineEnd.CR, [b"a\r", b"\nb\nc\r"]),
        (LineEnd.LF, [b"a\r\n", b"b\n", b"c\r"]),
        (LineEnd.QUIET, [b"a\r\nb\nc\r"]),
        (LineEnd.MESSAGE, [b"a\r", b"\n", b"b\n", b"c\r"]),
    ],
)
def test_ends(end: LineEnd, pieces: list[bytes]) -> None:
    cutter = LineCutter(Framing(end=end))
    cuts = [*cutter.feed(b"a\r\nb\nc\r", 0), *cutter.finish()]
    assert [cut.raw for cut in cuts] == pieces


def test_message_ends_with_its_chunk_and_quiet_with_its_gap() -> None:
    message = LineCutter(Framing(end=LineEnd.MESSAGE))
    assert [cut.kind for cut in message.feed(b"a", 0)] == [CutKind.LINE]
    quiet = LineCutter(Framing(end=LineEnd.QUIET, quiet_ms=50))
    assert quiet.feed(b"a", 0) == ()
    [cut] = quiet.feed(b"b", 50 * MS)
    assert (cut.raw, cut.kind) == (b"a", CutKind.LINE)


def test_stale_counts_from_the_last_byte() -> None:
    cutter = LineCutter(Framing(stale_ms=100))
    assert cutter.feed(b"a", 0) == ()
    assert cutter.feed(b"b", 99 * MS) == ()
    assert cutter.quiet(198 * MS) == ()
    [cut] = cutter.quiet(199 * MS)
    assert (cut.raw, cut.kind, cut.at_ns) == (b"ab", CutKind.STALE, 99 * MS)


def test_each_byte_keeps_its_time() -> None:
    cutter = LineCutter(Framing())
    assert cutter.feed(b"ab", 1) == ()
    [cut, rest] = cutter.feed(b"c\rd\r", 2)
    assert (cut.start_ns, cut.time_of(2), cut.time_of(3), cut.at_ns) == (1, 1, 2, 2)
    assert (rest.start_ns, rest.at_ns) == (2, 2)


def test_body_leaves_padding_out() -> None:
    cut = Cut(raw=b"\0\n\0ab\0\r", kind=CutKind.LINE, arrivals=((7, 0),))
    assert (cut.body, cut.body_start) == (b"ab", 3)


@pytest.mark.parametrize("end", [LineEnd.ANY, LineEnd.CRLF])
def test_a_line_of_exactly_the_cap_is_whole(end: LineEnd) -> None:
    mark = b"\r\n" if end is LineEnd.CRLF else b"\r"
    for length, kind in [(8, CutKind.LINE), (9, CutKind.OVERLONG)]:
        cuts = LineCutter(Framing(end=end, max_bytes=8)).feed(b"x" * length + mark, 0)
        assert {cut.kind for cut in cuts} == {kind}
