from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from axledger.contract.errors import BadInput, StorageTrouble
from axledger.ledger import Ledger
from axledger.ledger.projection import drop, projection_path, rebuild


def rows_of(folder: Path, sql: str) -> list[tuple[object, ...]]:
    connection = sqlite3.connect(projection_path(folder))
    found = connection.execute(sql).fetchall()
    connection.close()
    return found


def test_tables_are_built_replaced_and_dropped(tmp_path: Path) -> None:
    many = [{"seq": number, "value_m": number / 4} for number in range(250)]
    rebuild(tmp_path, {"readings": [*many, {"seq": 250, "note": "late"}], "none": []})
    assert rows_of(tmp_path, "SELECT count(*), sum(value_m) FROM readings") == [(251, sum(range(250)) / 4)]
    assert rows_of(tmp_path, "SELECT seq FROM readings WHERE note = 'late'") == [(250,)]
    assert rebuild(tmp_path, {"jobs": [{"job": "a", "axles": [1, 2]}]}) == projection_path(tmp_path)
    assert rows_of(tmp_path, "SELECT name FROM sqlite_schema") == [("jobs",)]
    assert rows_of(tmp_path, "SELECT axles FROM jobs") == [("[1, 2]",)]
    drop(tmp_path)
    drop(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_failed_rebuild_keeps_the_earlier_tables(tmp_path: Path) -> None:
    rebuild(tmp_path, {"jobs": [{"job": "a"}]})
    with pytest.raises(BadInput):
        rebuild(tmp_path, {"jobs": [{"job": "b"}], "more": [{"x": 2**70}]})
    with pytest.raises(StorageTrouble):
        rebuild(tmp_path, {"jobs": [{"job": "b"}], "sqlite_own": [{"x": 1}]})
    assert rows_of(tmp_path, "SELECT job FROM jobs") == [("a",)]


def test_the_ledger_file_is_not_touched(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "x"}])
    before = (tmp_path / "ledger.db").read_bytes()
    rebuild(tmp_path, {"jobs": [{"job": "a"}]})
    assert (tmp_path / "ledger.db").read_bytes() == before
