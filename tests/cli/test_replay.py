from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]


@pytest.mark.usefixtures("worked")
def test_a_closed_job_comes_out_bit_for_bit(done: Callable[..., str], done_json: Callable[..., Any]) -> None:
    found = done_json("replay")
    assert (found["identical"], found["how"], found["differences"]) == (True, "bit for bit", [])
    assert (found["jobs"], found["compared"]) == (1, 2)  # the checkpoint at the end of the run, and the statement
    assert found["frames"] >= found["readings"] >= 16  # eight shots, two readings each
    assert done("replay", "demo-4-1").startswith("identical (bit for bit): 1 jobs")


@pytest.mark.usefixtures("worked")
def test_an_unknown_job_is_refused(fails: Callable[..., str]) -> None:
    assert "demo-4-1" in fails(2, "replay", "demo-9")


def test_without_a_ledger_there_is_nothing_to_replay(fails: Callable[..., str]) -> None:
    assert "there is no ledger here" in fails(3, "replay")


def test_a_reading_that_was_altered_with_its_hashes_still_contradicts_the_statement(
    worked: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run
) -> None:
    """Rewrite the whole ledger, hashes and all, with one digit of one reading changed: verify cannot see it."""
    from axledger.ledger import Ledger

    with Ledger.read(worked) as ledger:
        bodies = [dict(entry.body) for entry in ledger.entries()]
    arrival = next(body for body in bodies if body["kind"] == "arrival" and b"m" in bytes.fromhex(str(body["hex"])))
    line = bytes.fromhex(str(arrival["hex"]))
    arrival["hex"] = line.replace(line[3:4], b"7" if line[3:4] != b"7" else b"6", 1).hex()
    with Ledger.open(tmp_path / "forged") as ledger:
        ledger.append(bodies)
    monkeypatch.setenv("AXLEDGER_HOME", str(tmp_path / "forged"))
    assert run("verify")[0] == 0
    code, out, _ = run("replay")
    assert code == 1
    assert out.startswith("DIFFERENT: 1 jobs")
    assert "recorded" in out
    assert "replayed" in out


@pytest.mark.usefixtures("worked")
def test_the_tables_are_written_beside_the_ledger(done: Callable[..., str], home: Path) -> None:
    out = done("replay", "--tables")
    written = Path(out.split("tables: ", 1)[1].strip())
    assert written.parent == home
    with closing(sqlite3.connect(written)) as connection:
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    assert {"jobs", "readings", "instruments", "results"} <= tables
