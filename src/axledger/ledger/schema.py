"""The tables and guards of a ledger file, and the check that they are exactly ours."""

from __future__ import annotations

import sqlite3

__all__ = ["OBJECTS", "VERSION", "create", "is_blank", "schema_fault", "version_of"]

VERSION = 1

# The text of each object as SQLite keeps it; the check at open compares letter by letter, since a
# guard of the right name with another body would guard nothing.
OBJECTS: dict[tuple[str, str], str] = {
    ("table", "meta"): "CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT",
    ("table", "entries"): (
        "CREATE TABLE entries(seq INTEGER PRIMARY KEY, kind TEXT NOT NULL, job TEXT, "
        "body TEXT NOT NULL, leaf BLOB NOT NULL, nodes BLOB NOT NULL) STRICT"
    ),
    ("index", "entries_by_job"): "CREATE INDEX entries_by_job ON entries(job) WHERE job IS NOT NULL",
    ("trigger", "entries_never_change"): (
        "CREATE TRIGGER entries_never_change BEFORE UPDATE ON entries BEGIN "
        "SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END"
    ),
    ("trigger", "entries_never_leave"): (
        "CREATE TRIGGER entries_never_leave BEFORE DELETE ON entries BEGIN "
        "SELECT RAISE(ABORT, 'an entry of the ledger is never removed'); END"
    ),
    ("trigger", "entries_in_sequence"): (
        "CREATE TRIGGER entries_in_sequence BEFORE INSERT ON entries "
        "WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entries) BEGIN "
        "SELECT RAISE(ABORT, 'an entry must extend the sequence'); END"
    ),
}


def is_blank(connection: sqlite3.Connection) -> bool:
    """Tell whether the database holds nothing at all."""
    return connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone() is None


def create(connection: sqlite3.Connection) -> None:
    """Create every object in one transaction, so that a kill leaves either nothing or all of it."""
    connection.execute("BEGIN IMMEDIATE")
    for sql in OBJECTS.values():
        connection.execute(sql)
    connection.execute("INSERT INTO meta VALUES ('schema', ?)", (str(VERSION),))
    connection.execute("COMMIT")


def version_of(connection: sqlite3.Connection) -> int | None:
    """Return the schema version the file states, None where it states none."""
    if not connection.execute("SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = 'meta'").fetchone():
        return None
    row = connection.execute("SELECT CAST(value AS BLOB) FROM meta WHERE key = 'schema'").fetchone()
    stated = row[0].decode("ascii", "replace") if row and row[0] is not None else ""
    # Nine digits: no version will ever need more, and a damaged text may be too long to be a number.
    return int(stated) if stated.isascii() and stated.isdigit() and len(stated) <= 9 else None


def schema_fault(connection: sqlite3.Connection) -> str | None:
    """Return what differs from our tables, index and guards, in words; None where nothing does.

    Tables and views somebody added are no fault; a trigger somebody added is, since it could act on
    what we write.
    """
    stored = {
        (str(kind), str(name)): str(sql)
        for kind, name, sql in connection.execute("SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL")
    }
    for (kind, name), sql in OBJECTS.items():
        if (kind, name) not in stored:
            return f"the {kind} {name} is missing"
        if stored[kind, name] != sql:
            return f"the {kind} {name} is not the one of the ledger"
    foreign = [name for kind, name in stored if kind == "trigger" and (kind, name) not in OBJECTS]
    return f"the trigger {foreign[0]} is not ours" if foreign else None
