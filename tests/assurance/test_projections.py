"""Two simulated jobs, read back as somebody with any SQLite tool would; all data are invented."""

from __future__ import annotations

import json
import math
import re
import shutil
import sqlite3
from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from axledger.assurance.projections import project, rebuild_projections
from axledger.contract.instrument import Instrument
from axledger.contract.transport import Stamp
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.opening import enrol, instruments_in, open_job
from axledger.ledger import Ledger, verify_folder
from axledger.ledger.projection import drop, projection_path
from axledger_drivers.registry import decoder_for
from axledger_simulators.demo import Demo, DemoOutcome, run_demo

SEEDS = (3, 8)
DEGREE = math.pi / 180
LATER = Stamp(9_000_000_000_000, 1_767_700_000_000_000_000)


@dataclass(frozen=True, slots=True)
class Done:
    """What was done: the folder with the ledger, and what each demo says of its job."""

    folder: Path
    outcomes: tuple[DemoOutcome, ...]


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Done:
    folder = tmp_path_factory.mktemp("ledger")
    layout, limits = load_layout("semitrailer-1axle"), load_limit_sheet("example-fleet")
    outcomes = [
        run_demo(Demo(layout=layout, limits=limits, seed=seed, folder=folder, slip_rate=0.2), lambda _fold, _told: None)
        for seed in SEEDS
    ]
    with Ledger.read(folder) as ledger:
        rebuild_projections(ledger, decoder_for)
    return Done(folder, tuple(outcomes))


@pytest.fixture
def tables(done: Done) -> Generator[sqlite3.Connection]:
    """The tables as any tool reads them."""
    connection = sqlite3.connect(done.folder / "projections.db")
    connection.row_factory = sqlite3.Row
    yield connection
    connection.close()


@pytest.fixture
def own(done: Done, tmp_path: Path) -> Path:
    """A copy of the folder, without tables, to change."""
    folder = tmp_path / "own"
    shutil.copytree(done.folder, folder)
    drop(folder)
    return folder


def rows(tables: sqlite3.Connection, sql: str, *values: object) -> list[dict[str, Any]]:
    return [dict(row) for row in tables.execute(sql, values)]


def everything(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    connection = sqlite3.connect(projection_path(folder))
    names = [name for (name,) in connection.execute("SELECT name FROM sqlite_schema ORDER BY name")]
    found = {name: connection.execute(f"SELECT * FROM {name} ORDER BY rowid").fetchall() for name in names}
    connection.close()
    return found


def test_there_are_four_tables(tables: sqlite3.Connection) -> None:
    names = {row["name"] for row in tables.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    assert names == {"jobs", "readings", "instruments", "results"}


def test_jobs_are_as_they_were_opened(tables: sqlite3.Connection, done: Done) -> None:
    found = rows(tables, "SELECT * FROM jobs ORDER BY entry")
    with Ledger.read(done.folder) as ledger:
        openings = list(ledger.entries(kinds={"job"}))
    assert [job["job"] for job in found] == [outcome.job for outcome in done.outcomes]
    for job, opening, seed in zip(found, openings, SEEDS, strict=True):
        assert (job["entry"], job["job"]) == (opening.seq, opening.job)
        assert (job["vehicle"], job["person"]) == ("semitrailer-1axle", "simulated technician")
        assert (job["rounds"], job["closed"]) == (1, 1)
        assert job["utc_ns"] == str(opening.body["utc"])
        assert json.loads(job["details"])["unit number"] == f"SIM-{seed:04d}"


def test_every_reading_is_there_with_its_state(tables: sqlite3.Connection, done: Done) -> None:
    for outcome in done.outcomes:
        found = rows(tables, "SELECT number, state FROM readings WHERE job = ? ORDER BY number", outcome.job)
        assert [row["number"] for row in found] == list(range(1, outcome.readings + 1))
        states = Counter(row["state"] for row in found)
        assert {state: outcome.counts[state] for state in states} == dict(states)
        assert states["accepted"] >= outcome.shots
    others = rows(tables, "SELECT DISTINCT state FROM readings WHERE state <> 'accepted'")
    assert others, "the slips of these seeds must show"
    assert rows(tables, "SELECT 1 FROM readings WHERE state <> 'accepted' AND why = ''") == []


def test_values_are_what_the_raw_bytes_say(tables: sqlite3.Connection) -> None:
    """Read the bytes once more, without any decoder of ours: metres, or degrees with a sign."""
    seen: Counter[str] = Counter()
    for row in rows(tables, "SELECT raw_hex, length_si, inclination_si FROM readings"):
        text = bytes.fromhex(row["raw_hex"]).decode("utf-8")
        number = re.search(r"[-+]?[0-9]+\.[0-9]+", text)
        assert number is not None
        if "°" in text:
            assert row["inclination_si"] == pytest.approx(float(number[0]) * DEGREE, rel=1e-12, abs=1e-15)
            assert row["length_si"] is None
        else:
            assert text.rstrip().endswith("m")
            assert row["length_si"] == float(number[0])
            assert row["inclination_si"] is None
        seen["tilt" if "°" in text else "length"] += 1
    assert min(seen["tilt"], seen["length"]) >= 4


def test_a_reading_leads_back_to_its_entry(tables: sqlite3.Connection, done: Done) -> None:
    """The entry is the arrival that ended the reading: up to it, its link said these bytes last."""
    said: dict[str, bytes] = {}
    by_entry = {row["entry"]: row for row in rows(tables, "SELECT * FROM readings")}
    with Ledger.read(done.folder) as ledger:
        for entry in ledger.entries(kinds={"arrival"}):
            link = f"{entry.job} {entry.body['link']}"
            said[link] = said.get(link, b"") + bytes.fromhex(str(entry.body["hex"]))
            row = by_entry.pop(entry.seq, None)
            if row is not None:
                assert said[link].removesuffix(b"\n").endswith(bytes.fromhex(row["raw_hex"]).removesuffix(b"\n"))
                assert (entry.job, str(entry.body["utc"])) == (row["job"], row["utc_ns"])
    assert by_entry == {}


def test_every_shot_has_its_accepted_readings(tables: sqlite3.Connection, done: Done) -> None:
    for outcome in done.outcomes:
        found = rows(
            tables,
            "SELECT shot, count(*) AS taken FROM readings WHERE job = ? AND state = 'accepted' GROUP BY shot",
            outcome.job,
        )
        assert len(found) == outcome.shots
        assert all(row["taken"] >= 2 and row["shot"] for row in found)


def test_results_are_those_the_job_stated(tables: sqlite3.Connection, done: Done) -> None:
    for outcome in done.outcomes:
        found = rows(tables, "SELECT * FROM results WHERE job = ? ORDER BY rowid", outcome.job)
        for row in found:  # what has parts stands there as JSON text
            row["shares"] = json.loads(row["shares"])
        stated = [{key: value for key, value in result.items() if key != "truth"} for result in outcome.results]
        assert found == [{"job": outcome.job, **result} for result in stated]
        assert found
        with Ledger.read(done.folder) as ledger:
            (statement,) = ledger.entries(job=outcome.job, kinds={"statement"})
        recorded: Any = statement.body["results"]
        assert [row["value"] for row in found] == [result["value"] for result in recorded]


def test_instruments_are_as_they_were_recorded(tables: sqlite3.Connection, done: Done) -> None:
    found = rows(tables, "SELECT * FROM instruments ORDER BY entry")
    assert {row["name"] for row in found} == {"sim-meter", "sim-inclinometer"}
    assert len(found) == 2 * len(SEEDS)  # each demo enrols them anew, and a record is never replaced
    assert {row["state"] for row in found} == {"in use"}
    with Ledger.read(done.folder) as ledger:
        newest = instruments_in(ledger)
    for row in found[-2:]:
        assert row["entry"] == newest[row["name"]].seq
        assert Instrument.model_validate_json(row["record"]) == newest[row["name"]].instrument


def test_columns_name_the_instruments_of_the_readings(tables: sqlite3.Connection) -> None:
    used = rows(
        tables,
        "SELECT r.instrument, count(r.length_si) AS lengths, count(r.inclination_si) AS tilts FROM readings r "
        "JOIN (SELECT DISTINCT name FROM instruments) i ON i.name = r.instrument GROUP BY r.instrument",
    )
    (total,) = tables.execute("SELECT count(*) FROM readings").fetchone()
    by_name = {row["instrument"]: (row["lengths"], row["tilts"]) for row in used}
    assert by_name["sim-meter"][1] == by_name["sim-inclinometer"][0] == 0
    assert by_name["sim-meter"][0] + by_name["sim-inclinometer"][1] == total


def test_tables_are_dropped_and_made_again_alike(done: Done, own: Path) -> None:
    before = verify_folder(own)
    with Ledger.read(own) as ledger:
        assert rebuild_projections(ledger, decoder_for) == projection_path(own)
        first = everything(own)
        projection_path(own).write_bytes(b"spoiled by some program")
        rebuild_projections(ledger, decoder_for)
    assert everything(own) == first == everything(done.folder)
    assert verify_folder(own) == before
    assert before.ok


def test_a_later_record_of_an_instrument_is_a_row_of_its_own(own: Path) -> None:
    with Ledger.open(own) as ledger:
        earlier = project(ledger, decoder_for)
        meter = instruments_in(ledger)["sim-meter"].instrument
        shelved = meter.model_copy(update={"state": "quarantined", "last_check": "2026-01-05"})
        enrolled = enrol(ledger, shelved, person="Ada", stamp=LATER)
        tables = project(ledger, decoder_for)
    *before, last = tables["instruments"]
    assert before == earlier["instruments"]
    assert (last["entry"], last["state"], last["last_check"]) == (enrolled.seq, "quarantined", "2026-01-05")
    assert {name: tables[name] for name in ("jobs", "readings", "results")} == {
        name: earlier[name] for name in ("jobs", "readings", "results")
    }


def test_a_job_just_opened_has_no_readings_and_no_values(tmp_path: Path, done: Done) -> None:
    with Ledger.read(done.folder) as earlier:
        known = instruments_in(earlier)
    with Ledger.open(tmp_path) as ledger:
        roles = {
            role: enrol(ledger, known[f"sim-{role}"].instrument, person="Ada", stamp=LATER)
            for role in ("meter", "inclinometer")
        }
        open_job(ledger, load_layout("semitrailer-1axle"), None, roles, stamp=LATER, person="Ada", name="just-opened")
        tables = project(ledger, decoder_for)
        rebuild_projections(ledger, decoder_for)
    (job,) = tables["jobs"]
    assert (job["job"], job["closed"], job["person"], job["utc_ns"]) == ("just-opened", 0, "Ada", str(LATER.utc_ns))
    assert tables["readings"] == []
    assert [result["value"] for result in tables["results"] if result["value"] is not None] == []
    assert "readings" not in everything(tmp_path)
    assert len(everything(tmp_path)["instruments"]) == 2


def test_a_ledger_without_jobs_has_no_rows(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        assert project(ledger, decoder_for) == {"jobs": [], "readings": [], "instruments": [], "results": []}
        rebuild_projections(ledger, decoder_for)
    assert everything(tmp_path) == {}
