"""Start a new ledger after a damaged one, which stays as it is."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from axledger.contract.errors import Refused
from axledger.ledger.canonical import JsonValue
from axledger.ledger.files import current_ledger, earlier_ledger, next_ledger
from axledger.ledger.schema import is_blank
from axledger.ledger.store import UNREADABLE, connect_reader, damaged, storage
from axledger.ledger.verify import verify_file

__all__ = ["check_successor", "start_successor"]


def start_successor(folder: Path) -> dict[str, JsonValue]:
    """Create the file of the next ledger and return the body of its first entry.

    The body names the old file, the size and root of its good part and what is wrong with it. Nothing
    is renamed or removed. Raises ``Refused`` where the ledger in use is sound, ``StorageTrouble``
    where there is none or it is of a newer version.
    """
    newest = current_ledger(folder)
    # A start cut off before its first entry is done again under the same name.
    begun_from = earlier_ledger(newest) if _holds_nothing(newest) else None
    old = begun_from or newest
    report = verify_file(old)
    if report.ok:
        raise Refused(
            "a sound ledger has no successor",
            found=report.reason,
            allowed="a successor to a damaged ledger",
            do="go on with the ledger there is",
            kept="nothing was changed",
        )
    with storage(folder):
        next_ledger(old).touch(exist_ok=begun_from is not None)
    return {
        "kind": "successor",
        "after": old.name,
        "good_size": report.head.size,
        "good_root": report.head.root,
        "reason": report.reason,
    }


def check_successor(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse a numbered ledger whose first entry does not name the one before it.

    It could be a copy under a name like ours, or a start cut off. Raises ``StorageTrouble`` (DAMAGED).
    """
    earlier = earlier_ledger(path)
    if earlier is None:
        return
    row = connection.execute(
        "SELECT kind, CASE WHEN json_valid(body) THEN json_extract(body, '$.after') END FROM entries WHERE seq = 1"
    ).fetchone()
    if row != ("successor", earlier.name):
        raise damaged(path, f"its first entry does not name {earlier.name} as the ledger before it")


def _holds_nothing(path: Path) -> bool:
    if earlier_ledger(path) is None:
        return False
    try:
        with closing(connect_reader(path)) as connection:
            if is_blank(connection):
                return True
            return connection.execute("SELECT 1 FROM entries LIMIT 1").fetchone() is None
    except UNREADABLE:
        return False
