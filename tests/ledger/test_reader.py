from __future__ import annotations

import sqlite3
from collections.abc import Callable, Generator
from pathlib import Path

import pytest

from axledger.contract.errors import BadInput, Refused, StorageCause, StorageTrouble
from axledger.ledger.entry import Entry
from axledger.ledger.merkle import NodeReader, tree_at
from axledger.ledger.reader import Reader
from axledger.ledger.store import connect_reader
from axledger.ledger.writer import Line, Writer

MORE_THAN_TWO_BATCHES = 1200  # entries are fetched 500 at a time
# What a damaged page can make of the columns; the tables of the ledger would refuse these values.
LOOSE = "CREATE TABLE entries(seq INTEGER PRIMARY KEY, kind, job, body, leaf, nodes)"
SOUND = ("arrival", None, '{"kind":"arrival"}')


@pytest.fixture
def reader(database: sqlite3.Connection, path: Path) -> Generator[Reader]:
    assert database.execute("SELECT 1 FROM meta").fetchone()
    made = Reader(connect_reader(path), path)
    yield made
    made.close()


def all_of(reader: Reader) -> list[Entry]:
    return list(reader.entries(after=0, job=None, kinds=None))


def test_entries_are_what_was_stored(reader: Reader, writer: Writer, lines: Callable[..., list[Line]]) -> None:
    stored = lines(1, 5, text="é — \x00")
    writer.append(stored)
    assert all_of(reader) == [
        Entry(seq=seq, kind=kind, job=job, body=body) for seq, (kind, job, _, _, body) in enumerate(stored, start=1)
    ]


@pytest.mark.parametrize(
    ("after", "job", "kinds", "expected"),
    [
        (0, None, None, [1, 2, 3, 4, 5, 6, 7]),
        (5, None, None, [6, 7]),
        (7, None, None, []),
        (99, None, None, []),
        (0, "a", None, [2, 4, 6]),
        (2, "a", None, [4, 6]),
        (0, "b", None, []),
        (0, None, {"act"}, [7]),
        (0, None, ["act", "arrival"], [1, 2, 3, 4, 5, 6, 7]),
        (0, None, (), []),
        (0, "a", {"act"}, []),
        (0, "a' OR '1'='1", None, []),
    ],
)
def test_entries_are_chosen(
    reader: Reader, writer: Writer, lines: Callable[..., list[Line]],
    after: int, job: str | None, kinds: set[str] | None, expected: list[int],
) -> None:  # fmt: skip
    (_, _, text, leaf, body) = lines(7, 7)[0]
    writer.append([*lines(1, 6), ("act", None, text, leaf, body)])
    assert [entry.seq for entry in reader.entries(after=after, job=job, kinds=kinds)] == expected


@pytest.mark.parametrize("last", [499, 500, 501, 1000, MORE_THAN_TWO_BATCHES])
def test_batches_lose_and_repeat_nothing(
    reader: Reader, writer: Writer, lines: Callable[..., list[Line]], last: int
) -> None:
    writer.append(lines(1, last))
    assert [entry.seq for entry in all_of(reader)] == list(range(1, last + 1))
    even = [entry.seq for entry in reader.entries(after=3, job="a", kinds=None)]
    assert even == list(range(4, last + 1, 2))


def test_a_reading_ends_where_it_began(reader: Reader, writer: Writer, lines: Callable[..., list[Line]]) -> None:
    writer.append(lines(1, MORE_THAN_TWO_BATCHES))
    reading = reader.entries(after=0, job=None, kinds=None)
    seen = [next(reading).seq]
    writer.append(lines(MORE_THAN_TWO_BATCHES + 1, MORE_THAN_TWO_BATCHES + 3))
    seen += [entry.seq for entry in reading]
    assert seen == list(range(1, MORE_THAN_TWO_BATCHES + 1))


def test_a_reading_left_half_used_keeps_nobody_from_folding_the_log_back(
    reader: Reader, writer: Writer, database: sqlite3.Connection, lines: Callable[..., list[Line]]
) -> None:
    writer.append(lines(1, MORE_THAN_TWO_BATCHES))
    reading = reader.entries(after=0, job=None, kinds=None)
    assert next(reading).seq == 1
    writer.append(lines(MORE_THAN_TWO_BATCHES + 1, MORE_THAN_TWO_BATCHES + 1))
    busy, left, _ = database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    assert (busy, left) == (0, 0)
    assert next(reading).seq == 2


def test_a_snapshot_does_not_see_what_comes_meanwhile(
    reader: Reader, writer: Writer, lines: Callable[..., list[Line]]
) -> None:
    writer.append(lines(1, 3))
    before = writer.head()

    def ask(size: int, node: NodeReader) -> tuple[int, str]:
        writer.append(lines(4, 4))
        with pytest.raises(LookupError):
            node(0, 3)
        return size, tree_at(size, node).root().hex()

    assert reader.snapshot(ask) == (before.size, before.root)
    assert reader.snapshot(lambda size, _: size) == 4


def test_a_snapshot_that_fails_is_let_go(reader: Reader, writer: Writer, lines: Callable[..., list[Line]]) -> None:
    def refuse(size: int, _: NodeReader) -> None:
        raise BadInput("own", found=str(size), allowed="", do="")

    with pytest.raises(BadInput, match="own"):
        reader.snapshot(refuse)
    writer.append(lines(1, 2))
    assert reader.snapshot(lambda size, _: size) == 2


def test_a_node_that_is_missing_is_damage(reader: Reader, writer: Writer, lines: Callable[..., list[Line]]) -> None:
    writer.append(lines(1, 2))
    with pytest.raises(StorageTrouble) as caught:
        reader.snapshot(lambda size, node: tree_at(size + 1, node))
    assert caught.value.cause is StorageCause.DAMAGED
    assert "entries 3 to 3 is missing" in caught.value.found


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (("arrival", None, "{"), "its body is no JSON"),
        (("arrival", None, '{"n":NaN}'), "its body is no JSON"),
        (("arrival", None, "[]"), "its body is no object"),
        (("arrival", None, None), "a column of it is no text"),
        (("arrival", None, b'{"kind":"arrival"}'), "a column of it is no text"),
        ((None, None, "{}"), "a column of it is no text"),
        (("arrival", 5, "{}"), "a column of it is no text"),
    ],
)
def test_an_entry_that_is_none_any_more_is_named_and_those_before_it_read(
    path: Path, row: tuple[object, ...], words: str
) -> None:
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(LOOSE)
        connection.executemany("INSERT INTO entries VALUES (NULL, ?, ?, ?, x'00', x'00')", [SOUND, row, SOUND])
    connection.close()
    reader = Reader(connect_reader(path), path)
    reading = reader.entries(after=0, job=None, kinds=None)
    assert next(reading).seq == 1
    with pytest.raises(StorageTrouble) as caught:
        next(reading)
    assert caught.value.cause is StorageCause.DAMAGED
    assert caught.value.found == f"entry 2 does not match: {words}"
    assert [entry.seq for entry in reader.entries(after=2, job=None, kinds=None)] == [3]
    reader.close()


def test_a_reading_that_outlives_its_ledger_is_refused_and_no_damage(
    reader: Reader, writer: Writer, lines: Callable[..., list[Line]]
) -> None:
    writer.append(lines(1, MORE_THAN_TWO_BATCHES))
    reading = reader.entries(after=0, job=None, kinds=None)
    assert next(reading).seq == 1
    reader.close()
    with pytest.raises(Refused, match="closed"):
        list(reading)
    with pytest.raises(Refused, match="closed"):
        reader.snapshot(lambda size, _: size)
