from __future__ import annotations

import sqlite3
from collections.abc import Callable

import pytest

from axledger.ledger.merkle import Tree, leaf_hash
from axledger.ledger.rows import Row, differing_level, likely_leaf, node_of, row_fault, stored_rows
from axledger.ledger.writer import Line, Writer

BODY = b'{"job":"a","kind":"arrival","number":4}'
A, B, C = (bytes([number]) * 32 for number in (1, 2, 3))


def row(body: bytes | None = BODY, *, kind: bytes | None = b"arrival", job: bytes | None = b"a") -> Row:
    """Make a row whose hashes fit its body."""
    leaf = leaf_hash(body or b"")
    return Row(seq=4, kind=kind, job=job, body=body, leaf=leaf, nodes=leaf + A + B)


def test_a_sound_row_has_no_fault() -> None:
    assert row_fault(row(), 4) is None
    assert row_fault(row(b'{"kind":"arrival"}', job=None), 4) is None


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (row()._replace(seq=6), "entry 4 is missing; the next row says 6"),
        (row()._replace(body=BODY + b" "), "entry 4 does not match its hash"),
        (row(None), "entry 4 does not match its hash"),
        (row()._replace(leaf=A), "entry 4 does not match its hash"),
        (row()._replace(leaf=None), "entry 4 does not match its hash"),
        (row()._replace(nodes=A + A + B), "entry 4 does not match its hash in the tree"),
        (row()._replace(nodes=None), "entry 4 does not match its hash in the tree"),
        (row(b"{"), "its body is no canonical JSON"),
        (row(b'{"kind":"\xff"}'), "its body is no canonical JSON"),
        (row(b'{"kind":"\\ud800"}'), "its body is no canonical JSON"),
        (row(b"[" * 5000), "its body is no canonical JSON"),
        (row(b'{"kind": "arrival"}', job=None), "its body is not in canonical form"),
        (row(b'{"kind":"arrival","a":1}', job=None), "its body is not in canonical form"),
        (row(b'{"kind":"arrival","n":1.0}', job=None), "its body is not in canonical form"),
        (row(b'["arrival"]', job=None), "its body is not in canonical form"),
        (row(kind=b"act"), "its columns do not repeat its body"),
        (row(kind=None), "its columns do not repeat its body"),
        (row(job=b"b"), "its columns do not repeat its body"),
        (row(job=None), "its columns do not repeat its body"),
        (row(b'{"kind":"arrival"}'), "its columns do not repeat its body"),
        (row(b'{"kind":5}', kind=b"5", job=None), "its columns do not repeat its body"),
    ],
)
def test_each_fault_is_named(bad: Row, words: str) -> None:
    fault = row_fault(bad, 4)
    assert fault is not None
    assert fault.startswith("entry 4")
    assert fault.endswith(words)


def test_rows_come_in_order_with_their_texts_as_bytes(
    writer: Writer, database: sqlite3.Connection, lines: Callable[..., list[Line]]
) -> None:
    stored = lines(1, 6, note="é")
    writer.append(stored)
    rows = list(stored_rows(database, 2))
    assert [found.seq for found in rows] == [3, 4, 5, 6]
    for found, (kind, job, text, leaf, _) in zip(rows, stored[2:], strict=True):
        assert (found.kind, found.job) == (kind.encode(), None if job is None else job.encode())
        assert (found.body, found.leaf) == (text.encode("utf-8"), leaf)
        assert node_of(found.nodes, 0) == leaf
        assert row_fault(found, found.seq) is None
    assert list(stored_rows(database, 6)) == []


def test_a_text_that_is_no_text_any_more_is_still_read(
    writer: Writer, database: sqlite3.Connection, lines: Callable[..., list[Line]]
) -> None:
    writer.append(lines(1, 2))
    database.execute("DROP TRIGGER entries_never_change")
    database.execute("UPDATE entries SET body = CAST(x'ff' AS TEXT), kind = CAST(x'fe' AS TEXT) WHERE seq = 2")
    with pytest.raises(sqlite3.OperationalError, match="UTF-8"):
        database.execute("SELECT body FROM entries WHERE seq = 2").fetchone()
    (found,) = stored_rows(database, 1)
    assert (found.body, found.kind) == (b"\xff", b"\xfe")
    assert row_fault(found, 2) == "entry 2 does not match its hash"


def test_nodes_are_told_apart_by_level() -> None:
    assert [node_of(A + B + C, level) for level in range(4)] == [A, B, C, b""]
    assert node_of(None, 0) == b""


@pytest.mark.parametrize(
    ("stored", "level"),
    [
        (A + B + C, 0),
        (B + B + C, 0),
        (A + A + C, 1),
        (A + B + A, 2),
        (A + A + A, 1),
        (A + B, 2),
        (A + B + C + C, 0),  # only their number differs
        (None, 0),
    ],
)
def test_the_lowest_level_that_differs(stored: bytes | None, level: int) -> None:
    assert differing_level(row()._replace(nodes=stored), A + B + C) == level


def test_two_of_three_say_which_leaf_was_meant() -> None:
    meant = leaf_hash(BODY)
    assert likely_leaf(row()) == meant
    assert likely_leaf(row()._replace(body=b"{}")) == meant
    assert likely_leaf(row()._replace(leaf=A)) == meant
    assert likely_leaf(row()._replace(nodes=A + B)) == meant
    assert likely_leaf(row()._replace(leaf=A, nodes=A + B)) == A
    assert likely_leaf(Row(1, None, None, None, None, None)) == b""


def test_the_likely_leaf_mends_the_tree_over_one_changed_body(
    writer: Writer, database: sqlite3.Connection, lines: Callable[..., list[Line]]
) -> None:
    writer.append(lines(1, 5))
    sound = writer.head()
    database.execute("DROP TRIGGER entries_never_change")
    database.execute("UPDATE entries SET body = '{}' WHERE seq = 3")
    tree = Tree()
    for found in stored_rows(database, 0):
        tree, _ = tree.extended(likely_leaf(found))
    assert tree.root().hex() == sound.root
