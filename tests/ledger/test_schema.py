from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from axledger.ledger.schema import OBJECTS, VERSION, create, is_blank, schema_fault, version_of
from axledger.ledger.writer import Line, Writer


def test_what_is_created_is_ours_and_states_its_version(database: sqlite3.Connection) -> None:
    assert not is_blank(database)
    assert schema_fault(database) is None
    assert version_of(database) == VERSION
    named = database.execute("SELECT type, name FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    assert set(named) == set(OBJECTS)


def test_a_creation_cut_off_leaves_nothing(path: Path) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("CREATE TABLE entries_by_job(x)")  # in the way of the index, after both tables
    with pytest.raises(sqlite3.OperationalError):
        create(connection)
    connection.close()
    again = sqlite3.connect(path)
    assert again.execute("SELECT name FROM sqlite_schema").fetchall() == [("entries_by_job",)]
    assert version_of(again) is None
    again.close()


def test_a_new_file_is_blank(path: Path) -> None:
    connection = sqlite3.connect(path)
    assert is_blank(connection)
    assert version_of(connection) is None
    connection.execute("CREATE TABLE songs(title)")
    assert not is_blank(connection)
    connection.close()


@pytest.mark.parametrize(("kind", "name"), [key for key in OBJECTS if key[0] != "table"])
def test_each_missing_guard_and_index_is_named(database: sqlite3.Connection, kind: str, name: str) -> None:
    database.execute(f"DROP {kind} {name}")
    assert schema_fault(database) == f"the {kind} {name} is missing"
    database.execute(OBJECTS[kind, name])
    assert schema_fault(database) is None


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("CREATE TABLE own(x)", None),
        ("CREATE VIEW by_kind AS SELECT kind, count(*) FROM entries GROUP BY kind", None),
        ("CREATE INDEX by_kind ON entries(kind)", None),
        ("CREATE TRIGGER more AFTER INSERT ON entries BEGIN SELECT 1; END", "the trigger more is not ours"),
        ("DROP TABLE meta", "the table meta is missing"),
        ("DROP TABLE entries", "the table entries is missing"),
        ("ALTER TABLE entries RENAME COLUMN leaf TO hash", "the table entries is not the one of the ledger"),
    ],
)
def test_what_somebody_added_or_took(database: sqlite3.Connection, sql: str, words: str | None) -> None:
    database.execute(sql)
    assert schema_fault(database) == words


def test_a_guard_of_the_right_name_that_guards_nothing_is_found(database: sqlite3.Connection) -> None:
    database.execute("DROP TRIGGER entries_in_sequence")
    database.execute("CREATE TRIGGER entries_in_sequence BEFORE INSERT ON entries WHEN 0 BEGIN SELECT 1; END")
    assert schema_fault(database) == "the trigger entries_in_sequence is not the one of the ledger"


@pytest.mark.parametrize(
    ("stated", "version"),
    [
        ("1", 1),
        ("2", 2),
        ("999999999", 999_999_999),
        ("", None),
        ("-1", None),
        ("1.0", None),
        ("x", None),
        ("²", None),
        (b"\xff", None),
        ("9" * 5000, None),
        (None, None),
    ],
)
def test_the_version_a_file_states(stated: str | bytes | None, version: int | None) -> None:
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE meta(key, value)")  # a damaged row obeys no table
    connection.execute("INSERT INTO meta VALUES ('schema', ?)", (stated,))
    assert version_of(connection) == version
    connection.execute("DELETE FROM meta")
    assert version_of(connection) is None
    connection.close()


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entries SET kind = 'y'",
        "UPDATE OR REPLACE entries SET seq = 2 WHERE seq = 1",
        "UPDATE OR IGNORE entries SET body = ''",
        "DELETE FROM entries",
        "DELETE FROM entries WHERE seq = 2",
        "INSERT OR REPLACE INTO entries VALUES (1, 'x', NULL, '{}', x'00', x'00')",
        "REPLACE INTO entries VALUES (2, 'x', NULL, '{}', x'00', x'00')",
        "INSERT INTO entries VALUES (4, 'x', NULL, '{}', x'00', x'00')",
        "INSERT INTO entries VALUES (NULL, 'x', NULL, '{}', x'00', x'00')",
        "INSERT INTO entries VALUES (0, 'x', NULL, '{}', x'00', x'00')",
        "INSERT INTO entries VALUES (1, 'x', NULL, '{}', x'00', x'00') ON CONFLICT DO UPDATE SET kind = 'z'",
        "INSERT INTO entries VALUES (3, 'x', NULL, 5.5, 7, 'text')",
    ],
)
def test_no_statement_changes_or_slips_in_an_entry(
    path: Path, writer: Writer, database: sqlite3.Connection, lines: Callable[..., list[Line]], sql: str
) -> None:
    writer.append(lines(1, 2))
    stored = database.execute("SELECT * FROM entries").fetchall()
    foreign = sqlite3.connect(path)  # another program, with none of our settings
    with pytest.raises(sqlite3.IntegrityError):
        foreign.execute(sql)
    foreign.close()
    assert database.execute("SELECT * FROM entries").fetchall() == stored
