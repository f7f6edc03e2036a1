"""The connection that only reads; any thread may use it."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Collection, Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from axledger.contract.errors import Refused
from axledger.ledger.canonical import parse
from axledger.ledger.entry import Entry
from axledger.ledger.merkle import NodeReader
from axledger.ledger.nodes import node_reader, stored_size
from axledger.ledger.store import damaged, storage

__all__ = ["Reader"]

_T = TypeVar("_T")
_BATCH = 500


class Reader:
    """Read entries and nodes; a lock lets one thread at the connection at a time."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path
        self._lock = threading.Lock()
        self._closed = False

    def close(self) -> None:
        """Close the connection."""
        with self._lock:
            self._closed = True
            self._connection.close()

    def entries(self, *, after: int, job: str | None, kinds: Collection[str] | None) -> Iterator[Entry]:
        """Yield matching entries in order, up to the last one there is when the first is asked for.

        They are fetched in batches: an iterator left half used pins no snapshot, and so never keeps
        the writer's log from being folded back. Raises ``StorageTrouble``, and ``Refused`` where the
        reader was closed in between.
        """
        last = self.snapshot(lambda size, _: size)
        clauses, values = _conditions(job, kinds)
        sql = (
            f"SELECT seq, kind, job, body FROM entries WHERE seq > ? AND seq <= ?{clauses} ORDER BY seq LIMIT {_BATCH}"
        )
        while after < last:
            with self._held() as connection:
                rows = connection.execute(sql, (after, last, *values)).fetchall()
            for seq, kind, job_of, text in rows:
                yield _entry(seq, kind, job_of, text, self._path)
            if len(rows) < _BATCH:
                return
            after = rows[-1][0]

    def snapshot(self, ask: Callable[[int, NodeReader], _T]) -> _T:
        """Return ``ask(size, node)`` of one consistent state of the file; raises as ``entries`` does."""
        with self._held() as connection:
            connection.execute("BEGIN")
            try:
                return ask(stored_size(connection), node_reader(connection))
            except LookupError as error:
                raise damaged(self._path, str(error)) from error
            finally:
                connection.rollback()

    @contextmanager
    def _held(self) -> Generator[sqlite3.Connection]:
        with self._lock, storage(self._path):
            if self._closed:
                raise Refused(
                    "the ledger is closed", found="a reading begun before", allowed="an open ledger", do="open it again"
                )
            yield self._connection


def _conditions(job: str | None, kinds: Collection[str] | None) -> tuple[str, tuple[str, ...]]:
    clauses = "" if job is None else " AND job = ?"
    values = () if job is None else (job,)
    if kinds is None:
        return clauses, values
    marks = ", ".join("?" * len(kinds))
    return f"{clauses} AND kind IN ({marks})", (*values, *kinds)


def _entry(seq: int, kind: object, job: object, text: object, path: Path) -> Entry:
    # A flipped bit in the header of a row makes another type of a column, whatever the table demands.
    if not (isinstance(kind, str) and isinstance(text, str) and isinstance(job, str | None)):
        raise damaged(path, f"entry {seq} does not match: a column of it is no text")
    try:
        body = parse(text)
    except ValueError as error:
        raise damaged(path, f"entry {seq} does not match: its body is no JSON") from error
    if not isinstance(body, dict):
        raise damaged(path, f"entry {seq} does not match: its body is no object")
    return Entry(seq=seq, kind=kind, job=job, body=body)
