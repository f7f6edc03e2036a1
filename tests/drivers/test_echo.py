from __future__ import annotations

from axledger_drivers.decoders.echo import EchoWatch, copies

MS = 1_000_000


def test_copies_begin_or_end_with_the_sent_bytes() -> None:
    assert copies(b"GO1") == (b"GO1", b"GO", b"O1", b"1", b"G")


def test_window_and_order() -> None:
    watch = EchoWatch(100)
    watch.sent(b"A\r\n", 10 * MS)
    assert watch.expected(9 * MS) is None  # began before the sending
    assert watch.expected(110 * MS) == b"A"
    assert watch.expected(111 * MS) is None
    assert watch.expected(20 * MS) is None  # gone for good


def test_heard_takes_one_and_passed_takes_all_before() -> None:
    watch = EchoWatch(100)
    watch.sent(b"A", 0)
    watch.sent(b"B", 1)
    watch.heard()
    assert watch.expected(2) == b"B"
    watch.sent(b"C", 5)
    watch.passed(4)
    assert watch.expected(5) == b"C"


def test_nothing_is_expected_of_an_end_mark_alone() -> None:
    watch = EchoWatch(100)
    watch.sent(b"\r\n", 0)
    assert watch.expected(0) is None
