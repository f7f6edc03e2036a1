from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path

import pytest

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.ledger import Ledger, verify_folder


@contextmanager
def without_privileges() -> Generator[None]:
    """Give up the right to write everywhere, which a superuser running the tests would have."""
    superuser = hasattr(os, "geteuid") and os.geteuid() == 0
    if superuser:
        os.seteuid(65534)
    try:
        yield
    finally:
        if superuser:
            os.seteuid(0)


@pytest.fixture
def locked_folder() -> Generator[Path]:
    """Make a folder with a ledger of two entries that nobody may write."""
    folder = Path(tempfile.mkdtemp())
    with Ledger.open(folder) as ledger:
        ledger.append([{"kind": "x"}, {"kind": "y"}])
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)
    for path in folder.iterdir():
        path.chmod(0o644)
    shutil.rmtree(folder)


def test_a_read_only_folder_is_said_and_can_be_read(locked_folder: Path) -> None:
    with without_privileges():
        with pytest.raises(StorageTrouble) as caught:
            Ledger.open(locked_folder)
        with Ledger.read(locked_folder) as ledger:
            kinds = [entry.kind for entry in ledger.entries()]
        report = verify_folder(locked_folder)
    assert caught.value.cause is StorageCause.READ_ONLY
    assert kinds == ["x", "y"]
    assert report.ok


def test_a_file_that_cannot_be_written_is_said(locked_folder: Path) -> None:
    locked_folder.chmod(0o777)
    (locked_folder / "writer.lock").unlink(missing_ok=True)
    with without_privileges(), pytest.raises(StorageTrouble) as caught:
        Ledger.open(locked_folder)
    assert caught.value.cause is StorageCause.READ_ONLY
    (locked_folder / "ledger.db").chmod(0o666)
    with Ledger.open(locked_folder) as ledger:
        assert ledger.head().size == 2


def test_a_folder_that_is_a_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="ascii")
    with pytest.raises(StorageTrouble):
        Ledger.open(tmp_path / "file")


def test_a_newer_ledger_is_refused_and_untouched(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "x"}])
    connection = sqlite3.connect(tmp_path / "ledger.db")
    with connection:
        connection.execute("UPDATE meta SET value = '2' WHERE key = 'schema'")
    connection.close()
    before = (tmp_path / "ledger.db").read_bytes()
    for act in (Ledger.open, Ledger.read, verify_folder):
        with pytest.raises(StorageTrouble) as caught:
            act(tmp_path)
        assert caught.value.cause is StorageCause.NEWER
    assert (tmp_path / "ledger.db").read_bytes() == before


def test_a_database_of_somebody_else_is_refused_and_untouched(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "ledger.db")
    connection.execute("CREATE TABLE songs(title)")
    connection.close()
    before = (tmp_path / "ledger.db").read_bytes()
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(tmp_path)
    assert caught.value.cause is StorageCause.DAMAGED
    assert (tmp_path / "ledger.db").read_bytes() == before


def test_an_empty_file_is_a_ledger_not_yet_begun(tmp_path: Path) -> None:
    (tmp_path / "ledger.db").write_bytes(b"")
    with pytest.raises(StorageTrouble) as caught:
        Ledger.read(tmp_path)
    assert caught.value.cause is StorageCause.ABSENT
    with Ledger.open(tmp_path) as ledger:
        assert ledger.append([{"kind": "x"}])[0].seq == 1


def test_a_failed_opening_lets_go_of_the_folder(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    path.write_bytes(b"no database" * 100)
    with pytest.raises(StorageTrouble):
        Ledger.open(tmp_path)
    path.unlink()
    with Ledger.open(tmp_path) as ledger:
        assert ledger.head().size == 0


@pytest.mark.parametrize("name", ["späce und # % ?", "a'b", "c;d&e=f"])
def test_folders_of_any_name(tmp_path: Path, name: str) -> None:
    folder = tmp_path / name.replace("?", "" if os.name == "nt" else "?")
    with Ledger.open(folder) as ledger:
        ledger.append([{"kind": "x"}])
    with Ledger.read(folder) as ledger:
        assert ledger.head().size == 1
    assert verify_folder(folder).ok


def test_a_ledger_another_tool_took_out_of_write_ahead_mode(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "x"}])
    connection = sqlite3.connect(tmp_path / "ledger.db", isolation_level=None)
    assert connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0] == "delete"
    connection.close()
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "y"}])
        assert ledger.path.with_name("ledger.db-wal").exists()
    assert verify_folder(tmp_path).ok


def test_a_change_cut_off_by_a_crash_is_undone_first(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        stored = ledger.append([{"kind": "x"}])
    path = tmp_path / "ledger.db"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=DELETE")
    connection.execute("PRAGMA cache_size=2")
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("INSERT INTO meta VALUES ('big', hex(zeroblob(200000)))")
    # The half-written file and its journal, as a crash at this moment would leave them.
    crashed = tmp_path / "crashed"
    crashed.mkdir()
    for name in ("ledger.db", "ledger.db-journal", "ledger.head"):
        shutil.copy(tmp_path / name, crashed)
    connection.close()
    assert (crashed / "ledger.db").read_bytes() != path.read_bytes()
    with Ledger.open(crashed) as ledger:
        assert list(ledger.entries()) == stored
    assert verify_folder(crashed).ok
