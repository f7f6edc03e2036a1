from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from axledger.contract.errors import Refused, StorageCause, StorageTrouble
from axledger.ledger.store import (
    connect_reader,
    connect_writer,
    damaged,
    primary_code,
    recover,
    reserve_log,
    settle_journal,
    storage,
    sync_folder,
    synchronous_for,
    trouble,
    words_for_trouble,
)

LOG_BYTES = 2_048_000  # 2000 pages of 1024 bytes, computed by hand


def setting(connection: sqlite3.Connection, name: str) -> object:
    return connection.execute(f"PRAGMA {name}").fetchone()[0]


def allow_pages(connection: sqlite3.Connection, more: int) -> None:
    """Let the file grow by so many pages only, as a full disk would."""
    pages = setting(connection, "page_count")
    assert isinstance(pages, int)
    connection.execute(f"PRAGMA max_page_count={pages + more}")


def test_the_settings_of_the_writing_connection(path: Path) -> None:
    connection = connect_writer(path, busy_timeout_s=1.5)
    names = ("journal_mode", "synchronous", "recursive_triggers", "busy_timeout", "page_size", "wal_autocheckpoint")
    settings = {name: setting(connection, name) for name in names}
    connection.close()
    assert settings == {
        "journal_mode": "wal",
        "synchronous": 2,
        "recursive_triggers": 1,
        "busy_timeout": 1500,
        "page_size": 1024,
        "wal_autocheckpoint": 2000,
    }


def test_only_who_asks_for_it_gets_a_connection_that_does_not_wait_for_the_disk(path: Path) -> None:
    connection = connect_writer(path, busy_timeout_s=1.5, durable=False)
    assert setting(connection, "synchronous") == 0
    assert setting(connection, "journal_mode") == "wal"
    connection.close()
    root = Path(__file__).parents[2]
    asking = {
        file.relative_to(root).as_posix()
        for folder in ("src", "drivers", "calibration", "simulators")
        for file in (root / folder).rglob("*.py")
        if "durable=False" in file.read_text(encoding="utf-8")
    }
    # no command of the program leads there: the campaign is a script of its own
    assert asking == {"simulators/axledger_simulators/campaign_job.py"}


def test_the_journal_mode_is_read_back(path: Path) -> None:
    connection = sqlite3.connect(":memory:")
    with pytest.raises(StorageTrouble, match="cannot be used") as caught:
        settle_journal(connection, path)
    connection.close()
    assert "'memory'" in caught.value.found
    # What each mode needs: SQLite documentation, PRAGMA synchronous; from memory.
    modes = ("wal", "delete", "truncate", "persist", "memory", "off")
    assert [synchronous_for(mode) for mode in modes] == ["FULL", "EXTRA", "EXTRA", "EXTRA", None, None]


def test_the_reading_connection_reads_what_is_committed_and_writes_nothing(
    path: Path, database: sqlite3.Connection
) -> None:
    reader = connect_reader(path)
    database.execute("BEGIN IMMEDIATE")
    database.execute("INSERT INTO meta VALUES ('note', 'x')")
    ask = "SELECT count(*) FROM meta WHERE key = 'note'"
    assert reader.execute(ask).fetchone() == (0,)
    database.execute("COMMIT")
    assert reader.execute(ask).fetchone() == (1,)
    with pytest.raises(sqlite3.OperationalError) as caught:
        reader.execute("INSERT INTO meta VALUES ('more', 'y')")
    assert primary_code(caught.value) == sqlite3.SQLITE_READONLY
    reader.close()


def test_reading_makes_no_file(path: Path) -> None:
    with pytest.raises(sqlite3.OperationalError):
        connect_reader(path)
    assert not path.exists()


@pytest.mark.parametrize("connect", [connect_reader, connect_writer])
def test_what_is_no_database_is_opened_neither_way_and_left_alone(
    path: Path, connect: Callable[..., sqlite3.Connection]
) -> None:
    path.write_bytes(b"no database" * 100)
    with pytest.raises(StorageTrouble) as caught, storage(path):
        connect(path, busy_timeout_s=0.05)
    assert caught.value.cause is StorageCause.DAMAGED
    assert path.read_bytes() == b"no database" * 100


def test_the_log_takes_its_room_and_nothing_stays_in_the_file(path: Path, database: sqlite3.Connection) -> None:
    log = path.with_name(path.name + "-wal")
    before = log.stat().st_size
    reserve_log(database)
    assert before < LOG_BYTES <= log.stat().st_size
    assert not database.in_transaction
    assert database.execute("SELECT key FROM meta").fetchall() == [("schema",)]
    assert setting(database, "cache_size") == -2000


def test_no_room_for_the_log_is_a_full_disk(path: Path, database: sqlite3.Connection) -> None:
    allow_pages(database, 5)
    with pytest.raises(StorageTrouble) as caught, storage(path):
        reserve_log(database)
    assert caught.value.cause is StorageCause.FULL
    assert setting(database, "cache_size") == -2000


def fill(path: Path) -> None:
    connection = connect_writer(path, busy_timeout_s=0.05)
    allow_pages(connection, 3)
    try:
        connection.execute("INSERT INTO meta VALUES ('big', hex(zeroblob(20000)))")
    finally:
        connection.close()


def write_beside(path: Path) -> None:
    first = connect_writer(path, busy_timeout_s=0.05)
    second = connect_writer(path, busy_timeout_s=0.05)
    first.execute("BEGIN IMMEDIATE")
    try:
        second.execute("BEGIN IMMEDIATE")
    finally:
        first.close()
        second.close()


def on_reader(sql: str) -> Callable[[Path], None]:
    def act(path: Path) -> None:
        connection = connect_reader(path)
        try:
            connection.execute(sql).fetchall()
        finally:
            connection.close()

    return act


def slip_in(path: Path) -> None:
    connection = sqlite3.connect(path)
    try:
        connection.execute("INSERT INTO entries VALUES (9, 'x', NULL, '{}', x'00', x'00')")
    finally:
        connection.close()


def open_what_is_not_there(path: Path) -> None:
    connect_reader(path.with_name("nowhere.db"))


def read_what_is_not_there(path: Path) -> None:
    path.with_name("nowhere").read_bytes()


@pytest.mark.usefixtures("database")
@pytest.mark.parametrize(
    ("act", "cause"),
    [
        (fill, StorageCause.FULL),
        (write_beside, StorageCause.HELD),
        (on_reader("DELETE FROM meta"), StorageCause.READ_ONLY),
        (on_reader("SELECT * FROM songs"), StorageCause.DAMAGED),
        (on_reader("SELECT CAST(x'ff' AS TEXT)"), StorageCause.DAMAGED),
        (slip_in, StorageCause.DAMAGED),
        (open_what_is_not_there, StorageCause.OTHER),
        (read_what_is_not_there, StorageCause.ABSENT),
    ],
    ids=["full", "held", "read-only", "no table", "no text", "out of sequence", "no database", "no file"],
)
def test_real_troubles_have_their_cause(path: Path, act: Callable[[Path], object], cause: StorageCause) -> None:
    with pytest.raises(StorageTrouble) as caught, storage(path, kept="entries 1 to 4 are safe"):
        act(path)
    assert caught.value.cause is cause
    assert caught.value.found == str(caught.value.__cause__)
    assert caught.value.kept == "entries 1 to 4 are safe"
    assert str(path) in caught.value.what


@pytest.mark.parametrize(
    ("number", "cause"),
    [
        (errno.ENOSPC, StorageCause.FULL),
        (errno.EROFS, StorageCause.READ_ONLY),
        (errno.EACCES, StorageCause.READ_ONLY),
        (errno.EPERM, StorageCause.READ_ONLY),
        (errno.ENOENT, StorageCause.ABSENT),
        (errno.EIO, StorageCause.OTHER),
    ],
)
def test_errors_of_the_system_have_their_cause(path: Path, number: int, cause: StorageCause) -> None:
    assert trouble(OSError(number, "so the system says"), path).cause is cause


def input_output_error() -> sqlite3.OperationalError:
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = sqlite3.SQLITE_IOERR | 10 << 8  # an extended code; the primary one counts
    return error


@pytest.mark.parametrize(("free_bytes", "cause"), [(4096, StorageCause.FULL), (10**9, StorageCause.OTHER)])
def test_an_input_output_error_is_a_full_disk_where_nothing_is_free(
    path: Path, monkeypatch: pytest.MonkeyPatch, free_bytes: int, cause: StorageCause
) -> None:
    usage = shutil.disk_usage(path.parent)._replace(free=free_bytes)

    def tell(_folder: Path) -> object:
        return usage

    monkeypatch.setattr("axledger.ledger.store.shutil.disk_usage", tell)
    assert trouble(input_output_error(), path).cause is cause


def test_a_disk_unplugged_while_in_use_is_said(tmp_path: Path) -> None:
    with pytest.raises(StorageTrouble) as caught, storage(tmp_path / "unplugged" / "ledger.db"):
        raise input_output_error()
    assert caught.value.cause is StorageCause.OTHER
    assert caught.value.found == "disk I/O error"


def test_the_primary_code() -> None:
    assert primary_code(input_output_error()) == sqlite3.SQLITE_IOERR
    assert primary_code(sqlite3.ProgrammingError("raised by the module")) == sqlite3.SQLITE_ERROR


@pytest.mark.parametrize(
    "error",
    [
        words_for_trouble(StorageCause.NEWER, path=Path("x.db"), found="schema 2"),
        Refused("own", found="", allowed="", do=""),
        ValueError("own"),
        KeyboardInterrupt(),
    ],
    ids=lambda error: type(error).__name__,
)
def test_what_is_no_trouble_of_storage_goes_through_as_it_is(path: Path, error: BaseException) -> None:
    with pytest.raises(type(error)) as caught, storage(path):
        raise error
    assert caught.value is error


@pytest.mark.parametrize("cause", StorageCause)
def test_every_cause_has_words(cause: StorageCause) -> None:
    error = words_for_trouble(cause, path=Path("x.db"), found="so", kept="all")
    assert [label for label, _ in error.parts()] == ["what", "found", "allowed", "do", "kept"]
    assert error.what.endswith(": x.db")
    assert error.cause is cause


def test_damage_changes_nothing_unless_said(path: Path) -> None:
    assert damaged(path, "entry 3").kept == "nothing was changed"
    assert damaged(path, "entry 3", kept="").kept == ""
    assert damaged(path, "entry 3").cause is StorageCause.DAMAGED


def test_without_a_journal_there_is_nothing_to_undo(path: Path) -> None:
    recover(path)
    assert not path.exists()


def test_a_change_cut_off_is_undone(path: Path, tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "running.db", isolation_level=None)
    connection.execute("CREATE TABLE t(x)")
    connection.execute("PRAGMA cache_size=2")
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("INSERT INTO t VALUES (zeroblob(200000))")
    sound = 8192  # two pages of 4096 bytes, the default: the schema and the table
    for suffix in ("", "-journal"):
        shutil.copy(tmp_path / f"running.db{suffix}", path.with_name(path.name + suffix))
    connection.close()
    assert path.stat().st_size > sound
    recover(path)
    assert path.stat().st_size == sound
    assert not path.with_name(path.name + "-journal").exists()


def test_the_folder_itself_is_synced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[int] = []
    descriptors: list[int] = []

    def noted(descriptor: int) -> None:
        descriptors.append(descriptor)
        synced.append(os.fstat(descriptor).st_ino)

    monkeypatch.setattr("axledger.ledger.store.os.fsync", noted)
    sync_folder(tmp_path)
    assert synced == ([tmp_path.stat().st_ino] if os.name == "posix" else [])
    for descriptor in descriptors:
        with pytest.raises(OSError, match="descriptor"):
            os.fstat(descriptor)
