"""Read the stored nodes of the tree.

The column ``nodes`` of an entry holds the hashes of all nodes that entry completes, its own leaf first,
each one level above the one before. A node is therefore found by the last entry it covers and its level.
A table of their own would have them written to one more page with every commit.
"""

from __future__ import annotations

import sqlite3

from axledger.ledger.merkle import NodeReader, Tree, tree_at

__all__ = ["HASH_BYTES", "current_tree", "node_reader", "stored_size"]

HASH_BYTES = 32


def node_reader(connection: sqlite3.Connection) -> NodeReader:
    """Return a reader of stored nodes; it raises ``LookupError`` for one that is not there."""

    def read(level: int, position: int) -> bytes:
        last_seq = (position + 1) << level
        row = connection.execute(
            "SELECT substr(nodes, ?, ?) FROM entries WHERE seq = ?",
            (level * HASH_BYTES + 1, HASH_BYTES, last_seq),
        ).fetchone()
        if row is None or not isinstance(row[0], bytes) or len(row[0]) != HASH_BYTES:
            raise LookupError(f"the tree node over entries {(position << level) + 1} to {last_seq} is missing")
        return row[0]

    return read


def stored_size(connection: sqlite3.Connection) -> int:
    """Return the highest sequence number, 0 for an empty ledger."""
    return int(connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0])


def current_tree(connection: sqlite3.Connection) -> Tree:
    """Return the tree over all entries; raises ``LookupError`` where a node is missing."""
    return tree_at(stored_size(connection), node_reader(connection))
