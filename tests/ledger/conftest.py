"""A ledger database by itself, and lines ready to be stored in it, for tests below the level of ``Ledger``."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Generator
from pathlib import Path

import pytest

from axledger.ledger.canonical import JsonValue, encode
from axledger.ledger.merkle import Tree, leaf_hash
from axledger.ledger.schema import create
from axledger.ledger.store import connect_writer
from axledger.ledger.writer import Line, Writer


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the ledger file of a test stands."""
    return tmp_path / "ledger.db"


@pytest.fixture
def database(path: Path) -> Generator[sqlite3.Connection]:
    """A connection for writing to a ledger without entries."""
    connection = connect_writer(path, busy_timeout_s=0.05)
    create(connection)
    yield connection
    connection.close()


@pytest.fixture
def writer(database: sqlite3.Connection, path: Path) -> Writer:
    """A writer to that ledger."""
    return Writer(database, path, Tree())


@pytest.fixture
def lines() -> Callable[..., list[Line]]:
    """Return lines numbered ``first`` to ``last``; every second one belongs to the job "a"."""

    def made(first: int, last: int, **more: JsonValue) -> list[Line]:
        found: list[Line] = []
        for number in range(first, last + 1):
            job = "a" if number % 2 == 0 else None
            body: dict[str, JsonValue] = {"kind": "arrival", "number": number, **more}
            text, stored = encode(body if job is None else {**body, "job": job}, path="body")
            found.append(("arrival", job, text, leaf_hash(text.encode()), stored))
        return found

    return made
