from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.ledger.entry import TreeHead
from axledger.ledger.head import head_path, read_head_file, write_head_file
from axledger.ledger.merkle import EMPTY_ROOT, Tree
from axledger.ledger.nodes import current_tree
from axledger.ledger.verify import verify_file
from axledger.ledger.writer import HEAD_EVERY, Line, Writer

Lines = Callable[..., list[Line]]


def stored(database: sqlite3.Connection) -> list[tuple[object, ...]]:
    return database.execute("SELECT seq, kind, job, body, leaf FROM entries ORDER BY seq").fetchall()


def rows_of(lines: list[Line]) -> list[tuple[object, ...]]:
    return [(seq, kind, job, text, leaf) for seq, (kind, job, text, leaf, _) in enumerate(lines, start=1)]


def head_of(lines: list[Line]) -> TreeHead:
    tree = Tree()
    for _, _, _, leaf, _ in lines:
        tree, _ = tree.extended(leaf)
    return TreeHead(tree.size, tree.root().hex())


def test_bursts_are_numbered_on_and_stored_as_they_are(
    writer: Writer, database: sqlite3.Connection, lines: Lines
) -> None:
    assert writer.head() == TreeHead(0, EMPTY_ROOT.hex())
    assert [writer.append(lines(1, 1)), writer.append(lines(2, 6)), writer.append(lines(7, 7))] == [1, 2, 7]
    assert stored(database) == rows_of(lines(1, 7))
    assert writer.head() == head_of(lines(1, 7))
    assert current_tree(database).root().hex() == writer.head().root
    assert not database.in_transaction


def test_a_writer_goes_on_from_the_tree_it_is_given(
    writer: Writer, database: sqlite3.Connection, path: Path, lines: Lines
) -> None:
    writer.append(lines(1, 5))
    again = Writer(database, path, current_tree(database))
    assert again.append(lines(6, 9)) == 6
    assert again.head() == head_of(lines(1, 9))
    assert verify_file(path).ok


def test_a_burst_is_stored_whole_or_not_at_all(writer: Writer, database: sqlite3.Connection, lines: Lines) -> None:
    writer.append(lines(1, 2))
    (kind, job, text, leaf, body) = lines(4, 4)[0]
    unfit: Line = (kind, job, text.encode(), leaf, body)  # type: ignore[assignment]  # pyright: ignore[reportAssignmentType]
    with pytest.raises(StorageTrouble) as caught:
        writer.append([*lines(3, 3), unfit])  # the table takes no bytes for a text
    assert "entries 1 to 2 are safe" in caught.value.kept
    assert stored(database) == rows_of(lines(1, 2))
    assert writer.append(lines(3, 4)) == 3
    assert stored(database) == rows_of(lines(1, 4))


@pytest.mark.parametrize("burst", [1, 3])
def test_a_full_disk_loses_nothing_and_heals_without_a_restart(
    writer: Writer, database: sqlite3.Connection, path: Path, lines: Lines, burst: int
) -> None:
    (pages,) = database.execute("PRAGMA page_count").fetchone()
    database.execute(f"PRAGMA max_page_count={pages + 12}")
    acknowledged = 0

    def fill() -> None:
        nonlocal acknowledged
        while acknowledged < 500:
            first = writer.append(lines(acknowledged + 1, acknowledged + burst, text="y" * 500))
            acknowledged = first + burst - 1

    with pytest.raises(StorageTrouble) as caught:
        fill()
    assert caught.value.cause is StorageCause.FULL
    assert f"entries 1 to {acknowledged} are safe" in caught.value.kept
    assert 1 < acknowledged < 500
    assert stored(database) == rows_of(lines(1, acknowledged, text="y" * 500))
    assert writer.head().size == acknowledged
    database.execute("PRAGMA max_page_count=1000000")
    assert writer.append(lines(1, 2)) == acknowledged + 1
    assert verify_file(path).ok


@pytest.mark.parametrize("burst", [1, 3])
def test_a_lock_of_another_program_delays_and_loses_nothing(
    writer: Writer, database: sqlite3.Connection, path: Path, lines: Lines, burst: int
) -> None:
    writer.append(lines(1, 1))
    foreign = sqlite3.connect(path, isolation_level=None)
    foreign.execute("BEGIN IMMEDIATE")
    with pytest.raises(StorageTrouble) as caught:
        writer.append(lines(2, 1 + burst))
    assert caught.value.cause is StorageCause.HELD
    assert "entries 1 to 1 are safe" in caught.value.kept
    assert writer.head() == head_of(lines(1, 1))
    foreign.execute("ROLLBACK")
    foreign.close()
    assert writer.append(lines(2, 1 + burst)) == 2
    assert stored(database) == rows_of(lines(1, 1 + burst))


def test_an_entry_slipped_in_by_another_program_is_found(writer: Writer, path: Path, lines: Lines) -> None:
    writer.append(lines(1, 1))
    foreign = sqlite3.connect(path)
    with foreign:
        foreign.execute("INSERT INTO entries VALUES (2, 'x', NULL, '{}', x'00', x'00')")
    foreign.close()
    for act in (lambda: writer.append(lines(2, 2)), writer.head, writer.write_head):
        with pytest.raises(StorageTrouble) as caught:
            act()
        assert caught.value.cause is StorageCause.DAMAGED
    assert read_head_file(path) is None
    assert verify_file(path).first_bad == 2


def test_the_head_file_follows_at_every_full_count(writer: Writer, path: Path, lines: Lines) -> None:
    writer.append(lines(1, HEAD_EVERY - 1))
    assert read_head_file(path) is None
    writer.append(lines(HEAD_EVERY, HEAD_EVERY))
    noted = writer.head()
    assert read_head_file(path) == noted == head_of(lines(1, HEAD_EVERY))
    writer.append(lines(HEAD_EVERY + 1, 2 * HEAD_EVERY - 1))
    assert read_head_file(path) == noted
    writer.append(lines(2 * HEAD_EVERY, 4 * HEAD_EVERY + 3))  # a burst over more than one full count
    assert read_head_file(path) == writer.head() != noted
    writer.append(lines(1, 1))
    assert read_head_file(path) != writer.head()
    writer.write_head()
    assert read_head_file(path) == writer.head()


def test_a_head_file_that_cannot_be_written_is_no_lost_burst(writer: Writer, path: Path, lines: Lines) -> None:
    head_path(path).mkdir()
    assert writer.append(lines(1, HEAD_EVERY)) == 1
    assert writer.head_trouble.startswith("the head file cannot be written")
    with pytest.raises(StorageTrouble) as caught:
        writer.write_head()
    assert caught.value.kept == "all entries are safe; the earlier head file stays"
    head_path(path).rmdir()
    assert writer.append(lines(HEAD_EVERY + 1, 2 * HEAD_EVERY)) == HEAD_EVERY + 1
    assert writer.head_trouble == ""
    assert read_head_file(path) == writer.head()


def test_writing_the_head_by_hand_ends_its_trouble(writer: Writer, path: Path, lines: Lines) -> None:
    head_path(path).mkdir()
    writer.append(lines(1, HEAD_EVERY))
    assert writer.head_trouble
    head_path(path).rmdir()
    writer.write_head()
    assert writer.head_trouble == ""


def test_closing_folds_the_log_into_the_file(writer: Writer, path: Path, lines: Lines) -> None:
    writer.append(lines(1, 3))
    log = path.with_name(path.name + "-wal")
    assert log.stat().st_size > 0
    write_head_file(path, writer.head())
    writer.close()
    assert not log.exists()
    report = verify_file(path)
    assert (report.ok, report.head) == (True, head_of(lines(1, 3)))
