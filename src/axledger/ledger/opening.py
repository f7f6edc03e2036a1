"""What must hold before a ledger file is used."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from axledger.contract.errors import StorageCause
from axledger.ledger.entry import TreeHead
from axledger.ledger.files import earlier_ledger
from axledger.ledger.head import head_path, read_head_file
from axledger.ledger.merkle import Tree, tree_at
from axledger.ledger.nodes import node_reader, stored_size
from axledger.ledger.schema import VERSION, schema_fault, version_of
from axledger.ledger.store import damaged, words_for_trouble
from axledger.ledger.verify import check_rows, cut_words

__all__ = ["RECHECKED", "check_identity", "check_tail", "refuse_lost_ledger"]

# Own choice: so many entries before the trusted head are checked again at every start. It takes some
# tens of milliseconds and covers the job of the day whole.
RECHECKED = 1000


def check_identity(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a file of a newer schema (NEWER) or one without our tables and guards (DAMAGED)."""
    version = version_of(connection)
    if version is not None and version > VERSION:
        raise words_for_trouble(
            StorageCause.NEWER,
            path=path,
            found=f"schema {version}; this version knows up to {VERSION}",
            kept="nothing was changed",
        )
    fault = schema_fault(connection)
    if fault is None and version != VERSION:
        fault = "the schema version is not stated as it was written"
    if fault is not None:
        raise damaged(path, fault)


def refuse_lost_ledger(path: Path, *, starting: bool) -> None:
    """Refuse to start afresh where the head file knows entries, or in place of a successor.

    ``starting`` says that a successor is being started. Raises ``StorageTrouble`` (DAMAGED).
    """
    earlier = earlier_ledger(path)
    if earlier is not None and not starting:
        raise damaged(path, f"it was to succeed {earlier.name} and was never begun")
    claim = _claim(path)
    if claim is not None and claim.size > 0:
        raise damaged(path, cut_words(0, claim))


def check_tail(connection: sqlite3.Connection, path: Path) -> Tree:
    """Check what follows the trusted head, and ``RECHECKED`` entries before it; return the tree.

    Raises ``StorageTrouble`` (DAMAGED) naming the first entry that does not match.
    """
    claim = _claim(path)
    size = stored_size(connection)
    if claim is not None and claim.size > size:
        raise damaged(path, f"{cut_words(size, claim)}{_good(size)}")
    trusted = 0 if claim is None else claim.size
    try:
        start = tree_at(max(0, trusted - RECHECKED), node_reader(connection))
    except LookupError as error:
        raise damaged(path, str(error)) from error
    check = check_rows(connection, tree=start, claim=claim)
    if check.first_bad is not None:
        raise damaged(path, f"{check.reasons[0]}{_good(check.first_bad - 1)}")
    if check.reasons:
        raise damaged(path, check.reasons[0])
    return check.tree


def _good(last: int) -> str:
    if last == 0:
        return ""
    return "; entry 1 is good" if last == 1 else f"; entries 1..{last} are good"


def _claim(path: Path) -> TreeHead | None:
    try:
        return read_head_file(path)
    except ValueError as error:
        raise damaged(path, f"the head file {head_path(path).name} cannot be read: {error}") from error
