from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from axledger.contract.errors import Refused, StorageTrouble
from axledger.ledger import Ledger, TreeHead, verify_folder
from axledger.ledger.verify import verify_file


def damage(path: Path, seq: int) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    (sql,) = connection.execute("SELECT sql FROM sqlite_schema WHERE name = 'entries_never_change'").fetchone()
    connection.execute("DROP TRIGGER entries_never_change")
    connection.execute("UPDATE entries SET body = body || ' ' WHERE seq = ?", (seq,))
    connection.execute(sql)
    connection.close()


def test_a_successor_names_the_old_ledger_and_its_last_good_mark(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "x", "number": number} for number in range(39)])
        good = ledger.head()
        ledger.append([{"kind": "x", "number": number} for number in range(39, 100)])
    damage(tmp_path / "ledger.db", 40)
    before = (tmp_path / "ledger.db").read_bytes()
    with Ledger.open(tmp_path, succeed=True) as ledger:
        assert ledger.path.name == "ledger-2.db"
        (first,) = ledger.entries()
        assert first.kind == "successor"
        assert first.body["after"] == "ledger.db"
        assert (first.body["good_size"], first.body["good_root"]) == (39, good.root)
        assert "entry 40" in str(first.body["reason"])
        assert ledger.append([{"kind": "y"}])[0].seq == 2
    assert (tmp_path / "ledger.db").read_bytes() == before
    assert verify_folder(tmp_path).ok
    assert verify_file(tmp_path / "ledger.db").head == TreeHead(39, good.root)
    with Ledger.open(tmp_path) as ledger:
        assert ledger.path.name == "ledger-2.db"
        assert ledger.head().size == 2
    with Ledger.read(tmp_path, name="ledger.db") as old:
        assert len(list(old.entries())) == 100


def test_what_is_no_ledger_at_all_gets_a_successor_too(tmp_path: Path) -> None:
    (tmp_path / "ledger.db").write_bytes(b"no database" * 100)
    with Ledger.open(tmp_path, succeed=True) as ledger:
        assert next(ledger.entries()).body["good_size"] == 0


def test_a_successor_cut_off_before_its_first_entry_is_begun_again(tmp_path: Path) -> None:
    (tmp_path / "ledger.db").write_bytes(b"no database" * 100)
    (tmp_path / "ledger-2.db").write_bytes(b"")
    with pytest.raises(StorageTrouble, match="damaged"):
        Ledger.open(tmp_path)
    with Ledger.open(tmp_path, succeed=True) as ledger:
        assert ledger.path.name == "ledger-2.db"
        assert next(ledger.entries()).body["after"] == "ledger.db"


def test_a_sound_ledger_has_no_successor(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "x"}])
    with pytest.raises(Refused):
        Ledger.open(tmp_path, succeed=True)
    assert not (tmp_path / "ledger-2.db").exists()
    with Ledger.open(tmp_path) as ledger:
        assert ledger.path.name == "ledger.db"
