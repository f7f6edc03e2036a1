"""Open connections with the settings evidence needs, and put SQLite's troubles into words."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from axledger.contract.errors import StorageCause, StorageTrouble

__all__ = [
    "UNREADABLE",
    "connect_reader",
    "connect_writer",
    "damaged",
    "primary_code",
    "recover",
    "reserve_log",
    "settle_journal",
    "storage",
    "sync_folder",
    "synchronous_for",
    "trouble",
    "words_for_trouble",
]

_CAUSES = {
    sqlite3.SQLITE_FULL: StorageCause.FULL,
    sqlite3.SQLITE_READONLY: StorageCause.READ_ONLY,
    sqlite3.SQLITE_PERM: StorageCause.READ_ONLY,
    sqlite3.SQLITE_BUSY: StorageCause.HELD,
    sqlite3.SQLITE_LOCKED: StorageCause.HELD,
    sqlite3.SQLITE_NOTADB: StorageCause.DAMAGED,
    sqlite3.SQLITE_CORRUPT: StorageCause.DAMAGED,
    sqlite3.SQLITE_CONSTRAINT: StorageCause.DAMAGED,  # somebody else extended the sequence
    sqlite3.SQLITE_ERROR: StorageCause.DAMAGED,  # a table that is not there, a text that is no UTF-8
}
_ERRNOS = {
    errno.ENOSPC: StorageCause.FULL,
    getattr(errno, "EDQUOT", errno.ENOSPC): StorageCause.FULL,
    errno.EROFS: StorageCause.READ_ONLY,
    errno.EACCES: StorageCause.READ_ONLY,
    errno.EPERM: StorageCause.READ_ONLY,
    errno.ENOENT: StorageCause.ABSENT,
}
_WORDS: dict[StorageCause, tuple[str, str, str]] = {
    StorageCause.FULL: (
        "there is no room left to write",
        "free space on the disk of the data folder",
        "free some space and go on; no restart is needed",
    ),
    StorageCause.READ_ONLY: (
        "the data folder cannot be written",
        "a folder and files that may be written",
        "change the permissions, or name another folder in AXLEDGER_HOME",
    ),
    StorageCause.HELD: (
        "another program holds the ledger",
        "one writer at a time",
        "close the other program and try again",
    ),
    StorageCause.DAMAGED: (
        "the ledger file is damaged",
        "a ledger as it was written",
        "run 'axledger verify'; leave the file as it is",
    ),
    StorageCause.ABSENT: (
        "there is no ledger here",
        "a folder with a ledger in it",
        "check AXLEDGER_HOME, or let the first job create the ledger",
    ),
    StorageCause.NEWER: (
        "the ledger was written by a newer version",
        "a ledger of this version or an earlier one",
        "update axledger; the file is untouched",
    ),
    StorageCause.OTHER: (
        "the ledger cannot be used",
        "a local disk that reads and writes",
        "check the disk of the data folder",
    ),
}
# The log is folded back at 2000 pages of 1024 bytes.
_LOG_BYTES = 2_048_000
# SQLite repeats damaged names in its words, which the standard library then cannot decode.
UNREADABLE = (sqlite3.Error, UnicodeError)
_NO_ROOM_BYTES = 65536


def words_for_trouble(cause: StorageCause, *, path: Path, found: str, kept: str = "") -> StorageTrouble:
    """Return the error for ``cause`` at ``path``, with what was ``found``."""
    what, allowed, do = _WORDS[cause]
    return StorageTrouble(f"{what}: {path}", cause=cause, found=found, allowed=allowed, do=do, kept=kept)


def damaged(path: Path, found: str, *, kept: str = "nothing was changed") -> StorageTrouble:
    """Return the error for a ledger that is not as it was written."""
    return words_for_trouble(StorageCause.DAMAGED, path=path, found=found, kept=kept)


def trouble(error: Exception, path: Path, *, kept: str = "") -> StorageTrouble:
    """Return ``error`` (from SQLite or the system) as a ``StorageTrouble`` about ``path``."""
    return words_for_trouble(_cause(error, path), path=path, found=str(error), kept=kept)


def _cause(error: Exception, path: Path) -> StorageCause:
    if not isinstance(error, sqlite3.Error):
        if isinstance(error, UnicodeError):
            return StorageCause.DAMAGED
        number = error.errno if isinstance(error, OSError) else None
        return _ERRNOS.get(number or 0, StorageCause.OTHER)
    code = primary_code(error)
    # A full disk met while growing the shared index arrives as an input/output error.
    if code == sqlite3.SQLITE_IOERR and _no_room(path.parent):
        return StorageCause.FULL
    return _CAUSES.get(code, StorageCause.OTHER)


def _no_room(folder: Path) -> bool:
    try:
        return shutil.disk_usage(folder).free < _NO_ROOM_BYTES
    except OSError:
        return False  # the disk itself is gone, unplugged while in use


def primary_code(error: sqlite3.Error) -> int:
    """Return SQLite's primary result code; ``SQLITE_ERROR`` for an error the module raised itself."""
    code = getattr(error, "sqlite_errorcode", None)
    return code & 0xFF if isinstance(code, int) else sqlite3.SQLITE_ERROR


@contextmanager
def storage(path: Path, *, kept: str = "") -> Generator[None]:
    """Turn errors of SQLite and the system inside the block into ``StorageTrouble``."""
    try:
        yield
    except StorageTrouble:
        raise
    except (*UNREADABLE, OSError) as error:
        raise trouble(error, path, kept=kept) from error


def connect_writer(path: Path, *, busy_timeout_s: float, durable: bool = True) -> sqlite3.Connection:
    """Return a connection that commits durably, autocommit off our hands (explicit BEGIN).

    Without ``durable`` nothing waits for the disk: for simulations by the thousand, whose ledgers are thrown away.
    """
    connection = sqlite3.connect(path, timeout=busy_timeout_s, isolation_level=None, check_same_thread=False)
    try:
        # A commit writes whole pages, about three of them; small ones are quicker. No effect later.
        connection.execute("PRAGMA page_size=1024")
        settle_journal(connection, path)
        connection.execute("PRAGMA recursive_triggers=ON")
        connection.execute("PRAGMA wal_autocheckpoint=2000")
        # Only one system listens: there a plain sync leaves the data in the drive's own cache.
        connection.execute("PRAGMA fullfsync=ON")
        connection.execute("PRAGMA checkpoint_fullfsync=ON")
        if not durable:
            connection.execute("PRAGMA synchronous=OFF")
    except BaseException:
        connection.close()
        raise
    return connection


def reserve_log(connection: sqlite3.Connection) -> None:
    """Let the write-ahead log take its full room on disk before the first append.

    Syncing a file that grows costs half as much again as syncing one that does not. What is rolled back
    here has gone through the small cache into the log; the next commits overwrite it there.
    """
    connection.execute("PRAGMA cache_size=10")
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.execute("INSERT INTO meta VALUES ('room', CAST(zeroblob(?) AS TEXT))", (_LOG_BYTES,))
    finally:
        connection.rollback()  # no statement of our own: on a full disk SQLite has rolled back already
        connection.execute("PRAGMA cache_size=-2000")


def recover(path: Path) -> None:
    """Let SQLite undo a change cut off by a crash, which a connection for reading cannot do."""
    if not path.with_name(path.name + "-journal").exists():
        return
    connection = sqlite3.connect(path)
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    finally:
        connection.close()


def settle_journal(connection: sqlite3.Connection, path: Path) -> str:
    """Ask for write-ahead logging, read the answer, set syncing to match; return the mode."""
    mode = str(connection.execute("PRAGMA journal_mode=WAL").fetchone()[0]).lower()
    level = synchronous_for(mode)
    if level is None:
        raise words_for_trouble(
            StorageCause.OTHER, path=path, found=f"the file system allows only the journal mode {mode!r}"
        )
    connection.execute(f"PRAGMA synchronous={level}")
    return mode


def synchronous_for(journal_mode: str) -> str | None:
    """Return the syncing that makes a commit survive a power cut, None where none does.

    Without write-ahead logging the commit is the removal of the journal, which FULL does not sync in
    the folder and EXTRA does (SQLite documentation, PRAGMA synchronous; from memory).
    """
    if journal_mode == "wal":
        return "FULL"
    return "EXTRA" if journal_mode in {"delete", "truncate", "persist"} else None


def connect_reader(path: Path, *, busy_timeout_s: float = 5.0) -> sqlite3.Connection:
    """Return a connection that can only read; works beside a writer in another process.

    On a medium that cannot be written SQLite cannot share its index; where no log is left over the
    file is then read as one that does not change.
    """
    connection = _open_ro(path, "mode=ro", busy_timeout_s)
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        if primary_code(error) not in {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}:
            raise
        log = path.with_name(path.name + "-wal")
        if log.exists() and log.stat().st_size:
            raise
        return _open_ro(path, "mode=ro&immutable=1", busy_timeout_s)
    except BaseException:
        connection.close()
        raise
    return connection


def _open_ro(path: Path, query: str, busy_timeout_s: float) -> sqlite3.Connection:
    absolute = quote(path.resolve().as_posix(), safe="/:")
    # A drive letter needs a slash before it, a share needs its two slashes kept: both get "//" + "/".
    prefix = "file://" if absolute.startswith("/") else "file:///"
    return sqlite3.connect(
        f"{prefix}{absolute}?{query}",
        uri=True,
        timeout=busy_timeout_s,
        isolation_level=None,
        check_same_thread=False,
    )


def sync_folder(folder: Path) -> None:
    """Make names created or replaced in ``folder`` survive a power cut, where the system can."""
    if os.name != "posix":
        return  # elsewhere a folder cannot be opened for syncing; the file's own sync carries the name
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
