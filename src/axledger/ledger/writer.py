"""The one connection that appends."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TypeAlias

from axledger.ledger.canonical import JsonValue
from axledger.ledger.entry import TreeHead
from axledger.ledger.head import write_head_file
from axledger.ledger.merkle import Tree
from axledger.ledger.nodes import current_tree
from axledger.ledger.store import damaged, storage, trouble

__all__ = ["HEAD_EVERY", "Line", "Writer"]

HEAD_EVERY = 256

# One entry ready to be stored: kind, job, canonical text, leaf hash, what the text reads as.
Line: TypeAlias = tuple[str, str | None, str, bytes, dict[str, JsonValue]]
_INSERT = "INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?)"
_Row: TypeAlias = tuple[int, str, str | None, str, bytes, bytes]


class Writer:
    """Append bursts, each in one durable transaction, and keep the right edge of the tree."""

    def __init__(self, connection: sqlite3.Connection, path: Path, tree: Tree) -> None:
        self.connection = connection
        self._cursor = connection.cursor()
        self._path = path
        self._tree: Tree | None = tree
        self._last_size = tree.size
        self._lock = threading.Lock()
        self.head_trouble = ""

    def append(self, lines: Sequence[Line]) -> int:
        """Store ``lines`` and return the number of the first, once all of them are durable.

        Raises ``StorageTrouble``; then none of them is acknowledged and all earlier ones are safe.
        """
        with self._lock:
            before = self._known_tree()
            after, rows = _grown(before, lines)
            # A commit that fails leaves open what is on disk, so the edge is read again next time.
            self._tree = None
            self._commit(rows)
            self._tree, self._last_size = after, after.size
            if after.size // HEAD_EVERY > before.size // HEAD_EVERY:
                self._note_head(after)
        return before.size + 1

    def head(self) -> TreeHead:
        """Return the head over everything that is durable."""
        with self._lock:
            return _head_of(self._known_tree())

    def write_head(self) -> None:
        """Write the head file; raises ``StorageTrouble``."""
        with self._lock, storage(self._path, kept="all entries are safe; the earlier head file stays"):
            write_head_file(self._path, _head_of(self._known_tree()))
            self.head_trouble = ""

    def close(self) -> None:
        """Close the connection; SQLite then folds its log into the file."""
        with self._lock:
            self.connection.close()

    def _known_tree(self) -> Tree:
        if self._tree is None:
            with storage(self._path):
                try:
                    self._tree = current_tree(self.connection)
                except LookupError as error:
                    raise damaged(self._path, str(error)) from error
        return self._tree

    def _commit(self, rows: Sequence[_Row]) -> None:
        cursor = self._cursor
        try:
            if len(rows) == 1:
                # Outside a transaction one statement is one: it takes the write lock at once, waits for
                # it alike and returns when durable, without the two statements around it.
                cursor.execute(_INSERT, rows[0])
            else:
                cursor.execute("BEGIN IMMEDIATE")
                cursor.executemany(_INSERT, rows)
                cursor.execute("COMMIT")
        except BaseException as error:
            with suppress(sqlite3.Error):
                self.connection.rollback()
            if isinstance(error, sqlite3.Error):
                kept = f"entries 1 to {self._last_size} are safe; this burst was not acknowledged"
                raise trouble(error, self._path, kept=kept) from error
            raise

    def _note_head(self, tree: Tree) -> None:
        # The entries are durable; a head file that cannot be written must not look like a lost burst.
        try:
            write_head_file(self._path, _head_of(tree))
        except OSError as error:
            self.head_trouble = f"the head file cannot be written: {error}"
        else:
            self.head_trouble = ""


def _grown(tree: Tree, lines: Sequence[Line]) -> tuple[Tree, list[_Row]]:
    rows: list[_Row] = []
    for kind, job, text, leaf, _ in lines:
        tree, nodes = tree.extended(leaf)
        rows.append((tree.size, kind, job, text, leaf, nodes))
    return tree, rows


def _head_of(tree: Tree) -> TreeHead:
    return TreeHead(tree.size, tree.root().hex())
