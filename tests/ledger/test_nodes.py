from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable

import pytest

from axledger.ledger.merkle import Tree
from axledger.ledger.nodes import HASH_BYTES, current_tree, node_reader, stored_size
from axledger.ledger.writer import Line, Writer

SIZE = 11
# What a damaged page can make of the column; the tables of the ledger would refuse it as a value.
LOOSE = "CREATE TABLE entries(seq INTEGER PRIMARY KEY, nodes)"


def hash_over(leaves: list[bytes]) -> bytes:
    """The root over leaf hashes: RFC 9162 (2021), section 2.1.1, written down once more as it reads there."""
    if len(leaves) == 1:
        return leaves[0]
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    return hashlib.sha256(b"\x01" + hash_over(leaves[:split]) + hash_over(leaves[split:])).digest()


@pytest.fixture
def leaves(writer: Writer, lines: Callable[..., list[Line]]) -> list[bytes]:
    """The leaf hashes of the stored entries."""
    stored = lines(1, SIZE)
    writer.append(stored[:5])
    writer.append(stored[5:])
    return [leaf for _, _, _, leaf, _ in stored]


COMPLETE = [(level, position) for level in range(4) for position in range(SIZE >> level)]


@pytest.mark.parametrize(("level", "position"), COMPLETE)
def test_every_complete_node_is_found(
    database: sqlite3.Connection, leaves: list[bytes], level: int, position: int
) -> None:
    covered = leaves[position << level : (position + 1) << level]
    assert node_reader(database)(level, position) == hash_over(covered)


@pytest.mark.parametrize(
    ("level", "position", "over"), [(0, 11, "12 to 12"), (1, 5, "11 to 12"), (2, 2, "9 to 12"), (4, 0, "1 to 16")]
)
def test_a_node_that_is_not_complete_is_not_there(
    database: sqlite3.Connection, leaves: list[bytes], level: int, position: int, over: str
) -> None:
    assert len(leaves) == SIZE
    with pytest.raises(LookupError, match=f"over entries {over} is missing"):
        node_reader(database)(level, position)


def test_the_tree_over_all_entries(database: sqlite3.Connection, leaves: list[bytes]) -> None:
    tree = current_tree(database)
    assert tree.size == SIZE
    assert tree.root() == hash_over(leaves)


def test_a_ledger_without_entries(database: sqlite3.Connection) -> None:
    assert stored_size(database) == 0
    assert current_tree(database) == Tree()


def test_the_size_is_the_highest_number(database: sqlite3.Connection, leaves: list[bytes]) -> None:
    assert stored_size(database) == len(leaves)


@pytest.mark.parametrize("nodes", [b"", b"\x01" * (HASH_BYTES - 1), None, "x" * HASH_BYTES, 7])
def test_damaged_nodes_are_missing_nodes(nodes: object) -> None:
    connection = sqlite3.connect(":memory:")
    connection.execute(LOOSE)
    connection.execute("INSERT INTO entries VALUES (1, ?)", (nodes,))
    with pytest.raises(LookupError, match="entries 1 to 1"):
        current_tree(connection)
    connection.close()
