"""Read rows as they stand on disk, whatever was done to them, and check one on its own."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from axledger.ledger.canonical import canonical, parse
from axledger.ledger.merkle import leaf_hash
from axledger.ledger.nodes import HASH_BYTES

__all__ = ["Row", "differing_level", "likely_leaf", "node_of", "row_fault", "stored_rows"]


class Row(NamedTuple):
    """One stored row; texts as bytes, since one that is no UTF-8 any more must not raise."""

    seq: int
    kind: bytes | None
    job: bytes | None
    body: bytes | None
    leaf: bytes | None
    nodes: bytes | None


def stored_rows(connection: sqlite3.Connection, after: int) -> Iterator[Row]:
    """Yield the rows after ``after`` in order."""
    found = connection.execute(
        "SELECT seq, CAST(kind AS BLOB), CAST(job AS BLOB), CAST(body AS BLOB), "
        "CAST(leaf AS BLOB), CAST(nodes AS BLOB) FROM entries WHERE seq >= ? ORDER BY seq",
        (after + 1,),
    )
    return map(Row._make, found)


def row_fault(row: Row, due: int) -> str | None:
    """Return what is wrong with the row that should be entry ``due``, None where nothing is."""
    if row.seq != due:
        return f"entry {due} is missing; the next row says {row.seq}"
    if row.body is None or row.leaf != leaf_hash(row.body):
        return f"entry {due} does not match its hash"
    if node_of(row.nodes, 0) != row.leaf:
        return f"entry {due} does not match its hash in the tree"
    try:
        body = parse(row.body.decode("utf-8"))
        written = canonical(body) if isinstance(body, dict) else b""
    except ValueError:
        return f"entry {due} does not match: its body is no canonical JSON"
    if not isinstance(body, dict) or written != row.body:
        return f"entry {due} does not match: its body is not in canonical form"
    if _column(body.get("kind")) != row.kind or _column(body.get("job")) != row.job:
        return f"entry {due} does not match: its columns do not repeat its body"
    return None


def node_of(nodes: bytes | None, level: int) -> bytes:
    """Return the hash at ``level`` of joined hashes, empty where there is none."""
    return (nodes or b"")[level * HASH_BYTES : (level + 1) * HASH_BYTES]


def differing_level(row: Row, completed: bytes) -> int:
    """Return the lowest level at which the stored nodes differ; 0 where only their number does."""
    levels = range(len(completed) // HASH_BYTES)
    return next((level for level in levels if node_of(row.nodes, level) != node_of(completed, level)), 0)


def likely_leaf(row: Row) -> bytes:
    """Return the leaf hash most of body, leaf and node agree on."""
    votes = Counter([leaf_hash(row.body or b""), row.leaf or b"", node_of(row.nodes, 0)])
    return votes.most_common(1)[0][0]


def _column(value: object) -> bytes | None:
    return value.encode("utf-8") if isinstance(value, str) else None
