"""Tables for reading and export, built from the ledger and disposable.

They live in a file of their own, so that the ledger file itself is only ever appended to.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from pathlib import Path

from axledger.contract.errors import BadInput
from axledger.ledger.store import storage

__all__ = ["drop", "projection_path", "rebuild"]


def projection_path(folder: Path) -> Path:
    """Return where the projection tables of ``folder`` are kept."""
    return folder / "projections.db"


def rebuild(folder: Path, tables: Mapping[str, Sequence[Mapping[str, object]]]) -> Path:
    """Replace all projection tables by ``tables`` (name to rows) at one stroke; return the file.

    Columns follow the rows: a row may lack some, lists and objects become JSON text. A table without
    rows has no columns and is not created. Raises ``BadInput`` for a value no column can hold, ``StorageTrouble``;
    then the earlier tables stay.
    """
    # Imported here, since it costs more start-up time than all the rest of the ledger.
    import sqlite_utils  # noqa: PLC0415

    target = projection_path(folder)
    fresh = target.with_name("projections.new.db")
    with storage(target, kept="the earlier tables stay; the ledger is untouched"):
        fresh.unlink(missing_ok=True)
        database = sqlite_utils.Database(fresh)
        try:
            for name, rows in tables.items():
                if rows:
                    database.table(name).insert_all([dict(row) for row in rows], alter=True)
        except (OverflowError, sqlite3.ProgrammingError, sqlite3.InterfaceError) as error:
            raise _unfit(error) from error
        finally:
            database.close()
        fresh.replace(target)
    return target


def _unfit(error: Exception) -> BadInput:
    return BadInput(
        "a row does not fit into a table",
        found=str(error),
        allowed="text, numbers of 64 bits, bytes, lists and objects",
        do="write large numbers as text",
        kept="the earlier tables stay; the ledger is untouched",
    )


def drop(folder: Path) -> None:
    """Remove the projection tables, if any; raises ``StorageTrouble``."""
    target = projection_path(folder)
    with storage(target, kept="the ledger is untouched"):
        target.unlink(missing_ok=True)
