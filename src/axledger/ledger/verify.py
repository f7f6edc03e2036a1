"""Prove a ledger unchanged, or name the first entry that is not as it was written.

Every entry is checked on its own (canonical body, columns that repeat it, leaf hash, place in the
sequence) and against the stored nodes of the tree; the root is checked against the head file. Who
changes an entry consistently, body and leaf, is given away by the nodes; who changes the nodes too,
by the head file; who changes that as well, by the head on any printed report.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from axledger.contract.errors import StorageCause
from axledger.ledger.entry import TreeHead
from axledger.ledger.files import current_ledger
from axledger.ledger.head import head_path, read_head_file
from axledger.ledger.merkle import Tree, leaf_hash
from axledger.ledger.nodes import HASH_BYTES
from axledger.ledger.rows import Row, differing_level, likely_leaf, node_of, row_fault, stored_rows
from axledger.ledger.schema import VERSION, is_blank, schema_fault, version_of
from axledger.ledger.store import UNREADABLE, connect_reader, primary_code, storage, words_for_trouble

__all__ = ["Check", "VerifyReport", "check_rows", "cut_words", "verify_file", "verify_folder"]


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifyReport:
    """What a full check found.

    ``entries`` is how many entries the file holds, as far as it can be told. ``head`` is the head of
    those before ``first_bad``. ``first_bad`` is the first entry that is changed or missing, None where
    no entry can be named. ``reason`` says it in words, also where all is well.
    """

    ok: bool
    entries: int
    head: TreeHead
    first_bad: int | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """How far the entries hold: their ``tree``, the first bad one, and why (empty where all hold)."""

    tree: Tree
    first_bad: int | None
    reasons: tuple[str, ...]


def verify_folder(folder: Path) -> VerifyReport:
    """Check the ledger in use in ``folder`` from its first entry to its last.

    Works beside a writer and reports damage instead of raising. Raises ``StorageTrouble`` (ABSENT,
    NEWER, READ_ONLY) where there is nothing this version can judge.
    """
    return verify_file(current_ledger(folder))


def verify_file(path: Path) -> VerifyReport:
    """Check one ledger file; see ``verify_folder``."""
    # The head is read before the snapshot is taken: a writer may move both on in between.
    claim, head_fault = _claim(path)
    if not path.exists():
        if not head_path(path).exists():
            raise words_for_trouble(StorageCause.ABSENT, path=path, found="no such file")
        return _report(Tree(), 0, 1, (f"the file {path.name} is gone, its head file is not",))
    try:
        with storage(path):
            connection = connect_reader(path)
    except OSError as error:
        if getattr(error, "cause", None) is not StorageCause.DAMAGED:
            raise
        return _report(Tree(), 0, 1, (f"SQLite cannot read the file: {getattr(error, 'found', error)}",))
    try:
        return _verify_open(connection, path, claim, head_fault)
    finally:
        connection.close()


def _verify_open(
    connection: sqlite3.Connection, path: Path, claim: TreeHead | None, head_fault: tuple[str, ...]
) -> VerifyReport:
    try:
        connection.execute("BEGIN")
        if is_blank(connection):
            missing = claim is not None and claim.size > 0
            return _report(Tree(), 0, 1 if missing else None, ("the file holds no ledger",))
        version = version_of(connection)
        if version is not None and version > VERSION:
            raise words_for_trouble(StorageCause.NEWER, path=path, found=f"schema {version}")
        schema = _schema_faults(connection, version)
    except (*UNREADABLE, AttributeError, TypeError) as error:
        return _report(Tree(), 0, 1, (f"SQLite cannot read the file: {error}",))
    check = check_rows(connection, tree=Tree(), claim=claim)
    count, found = _whole_file(connection, check)
    return _report(check.tree, count, check.first_bad, (*check.reasons, *schema, *head_fault, *found))


def _claim(path: Path) -> tuple[TreeHead | None, tuple[str, ...]]:
    try:
        return read_head_file(path), ()
    except (OSError, ValueError) as error:
        return None, (f"the head file cannot be read: {error}",)


def _schema_faults(connection: sqlite3.Connection, version: int | None) -> tuple[str, ...]:
    fault = schema_fault(connection)
    stated = () if version == VERSION else ("the schema version is not stated as it was written",)
    return (*(() if fault is None else (fault,)), *stated)


def _whole_file(connection: sqlite3.Connection, check: Check) -> tuple[int, tuple[str, ...]]:
    """Count the entries and let SQLite check its own pages and the index by job."""
    try:
        count = int(connection.execute("SELECT count(*) FROM entries").fetchone()[0])
        answer = str(connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except UNREADABLE as error:
        return check.tree.size, (f"SQLite finds the file damaged: {error}",)
    found = () if answer == "ok" else (f"SQLite finds the file damaged: {answer.splitlines()[-1]}",)
    if check.first_bad is None and count != check.tree.size:
        found = ("there are rows outside the sequence", *found)
    return count, found


def _report(tree: Tree, entries: int, first_bad: int | None, reasons: tuple[str, ...]) -> VerifyReport:
    return VerifyReport(
        ok=not reasons,
        entries=entries,
        head=TreeHead(tree.size, tree.root().hex()),
        first_bad=first_bad,
        reason="; ".join(reasons) if reasons else f"all {tree.size} entries match",
    )


def check_rows(connection: sqlite3.Connection, *, tree: Tree, claim: TreeHead | None) -> Check:
    """Check every entry after ``tree`` and the head the file beside states; stop at the first bad one.

    ``claim`` must not be shorter than ``tree``. Reports what SQLite cannot read as a bad entry.
    """
    head_fault = _head_fault(tree, claim)
    try:
        for row in stored_rows(connection, tree.size):
            fault = row_fault(row, tree.size + 1)
            if fault is not None:
                return _bad(tree, tree.size + 1, fault, head_fault)
            grown, completed = tree.extended(leaf_hash(row.body or b""))
            if row.nodes != completed:
                return _bad(tree, *_node_fault(connection, tree, row, claim), head_fault)
            tree = grown
            head_fault = head_fault or _head_fault(tree, claim)
    except UNREADABLE as error:
        words = f"entry {tree.size + 1} cannot be read ({_kind_of(error)}: {error})"
        return _bad(tree, tree.size + 1, words, head_fault)
    if claim is not None and claim.size > tree.size:
        return _bad(tree, tree.size + 1, cut_words(tree.size, claim), head_fault)
    return Check(tree=tree, first_bad=None, reasons=head_fault)


def _bad(tree: Tree, seq: int, fault: str, head_fault: tuple[str, ...]) -> Check:
    return Check(tree=tree, first_bad=seq, reasons=(fault, *head_fault))


def _head_fault(tree: Tree, claim: TreeHead | None) -> tuple[str, ...]:
    if claim is None or claim.size != tree.size or claim.root == tree.root().hex():
        return ()
    return (f"the root of entries 1 to {tree.size} is not the one in the head file",)


def _node_fault(connection: sqlite3.Connection, tree: Tree, row: Row, claim: TreeHead | None) -> tuple[int, str]:
    """Return which entry is the first bad one where a stored node differs, and the words for it.

    Either the node alone was changed, then this entry is; or an entry under it was, together with
    everything below the node, then the first of them is named, since all before them are good.
    """
    level = differing_level(row, tree.extended(leaf_hash(row.body or b""))[1])
    first = row.seq - (1 << level) + 1
    if level == 0 or _agrees_above(connection, tree, row, level, claim):
        return row.seq, f"entry {row.seq} does not match: its nodes of the tree are changed"
    return first, f"entries {first} to {row.seq} do not match their hash in the tree"


def _agrees_above(connection: sqlite3.Connection, tree: Tree, row: Row, level: int, claim: TreeHead | None) -> bool:
    """Tell whether any node above ``level`` over ``row``, or the head, agrees with the entries."""
    for later in stored_rows(connection, tree.size):
        tree, completed = tree.extended(likely_leaf(later))
        for above in range(level + 1, len(completed) // HASH_BYTES):
            over_row = later.seq - (1 << above) < row.seq
            if over_row and node_of(later.nodes, above) == node_of(completed, above):
                return True
        if claim is not None and claim == TreeHead(tree.size, tree.root().hex()):
            return True
    return False


def cut_words(size: int, claim: TreeHead) -> str:
    """Say from where on entries are missing that the head file knows."""
    return f"entries from {size + 1} on are missing; the head file knows {claim.size}"


def _kind_of(error: sqlite3.Error | UnicodeError) -> str:
    corrupt = isinstance(error, sqlite3.Error) and primary_code(error) == sqlite3.SQLITE_CORRUPT
    return "damaged pages" if corrupt else "SQLite"
