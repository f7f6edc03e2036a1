from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]


def change_one_byte(folder: Path, seq: int) -> None:
    """Raise the last letter of the entry's body before its closing brace by one, past the guards of the file."""
    with closing(sqlite3.connect(folder / "ledger.db")) as connection, connection:
        for trigger in ("entries_never_change", "entries_never_leave", "entries_in_sequence"):
            connection.execute(f"DROP TRIGGER {trigger}")
        (body,) = connection.execute("SELECT body FROM entries WHERE seq = ?", (seq,)).fetchone()
        at = max(place for place, letter in enumerate(body) if letter.isalnum())
        changed = body[:at] + chr(ord(body[at]) ^ 1) + body[at + 1 :]
        assert len(changed) == len(body)
        connection.execute("UPDATE entries SET body = ? WHERE seq = ?", (changed, seq))


@pytest.mark.usefixtures("worked")
def test_an_unchanged_ledger_is_proved(done: Callable[..., str], done_json: Callable[..., Any]) -> None:
    report = done_json("verify")
    assert report["ok"] is True
    assert report["first_bad"] is None
    assert report["entries"] == report["head"]["size"] > 20
    words = done("verify")
    assert words.startswith(f"unchanged: {report['entries']} entries")
    assert report["head"]["root"] in words


@pytest.mark.parametrize("place", ["first", "middle", "last"])
def test_one_changed_byte_is_named(worked: Path, run: Run, done_json: Callable[..., Any], place: str) -> None:
    entries = done_json("verify")["entries"]
    seq = {"first": 1, "middle": entries // 2, "last": entries}[place]
    change_one_byte(worked, seq)
    code, out, err = run("verify", "--json")
    assert (code, err) == (1, "")
    assert f'"ok": false, "entries": {entries}' in out
    assert f'"first_bad": {seq},' in out
    code, out, _ = run("verify")
    assert code == 1
    assert out.startswith(f"CHANGED: entry {seq} ")
    good = "none" if seq == 1 else f"1 to {seq - 1}"
    assert out.endswith(f"\nfirst bad entry: {seq}; good before it: {good}\n")


def test_without_a_ledger_there_is_nothing_to_prove(fails: Callable[..., str], home: Path) -> None:
    assert "there is no ledger here" in fails(3, "verify")
    assert not home.exists()


def test_a_newer_ledger_is_left_alone(worked: Path, fails: Callable[..., str]) -> None:
    with closing(sqlite3.connect(worked / "ledger.db")) as connection, connection:
        connection.execute("UPDATE meta SET value = '99' WHERE key = 'schema'")
    before = (worked / "ledger.db").read_bytes()
    for words in (("verify",), ("replay",), ("job", "show"), ("report",), ("job", "close"), ("enrol",)):
        err = fails(3, *words)
        assert "newer version" in err
        assert "schema 99" in err
    assert (worked / "ledger.db").read_bytes() == before
