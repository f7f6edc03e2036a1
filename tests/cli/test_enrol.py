from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from pytest_mock import MockerFixture

from axledger.ledger import Ledger

METER = ("--profile", "metre-line", "--address", "/dev/example", "--repeatability", "0.7 mm")


def test_an_instrument_is_recorded_in_si_with_what_its_profile_says(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any]
) -> None:
    told = done_json(
        "enrol", "meter-a", *METER, "--serial", "A-17", "--zero", "-0.3 mm", "--u-zero", "0.5 mm", "--scale-ppm", "40",
        "--u-scale-ppm", "20", "--last-check", "2026-01-31", "--person", "Ada", "--note", "the red one",
    )  # fmt: skip
    assert told["seq"] == 1
    length = told["instrument"]["quantities"]["length"]
    assert length == {
        "repeatability": 0.0007, "resolution": 0.001, "zero": -0.0003, "u_zero": 0.0005, "scale": 4e-05,
        "u_scale": 2e-05,
    }  # fmt: skip
    assert done("enrol") == ("meter-a: length by metre-line at /dev/example; in use; last check 2026-01-31\n")
    with Ledger.read(home) as ledger:
        (entry,) = ledger.entries()
    assert (entry.kind, entry.body["person"]) == ("instrument", "Ada")


def test_an_inclinometer_is_recorded_in_radians(done_json: Callable[..., Any]) -> None:
    told = done_json(
        "enrol", "tilt-b", "--profile", "tilt-line", "--address", "socket://localhost:4001",
        "--tilt-repeatability", "0.02 deg", "--tilt-zero", "0.1 deg",
    )  # fmt: skip
    record = told["instrument"]["quantities"]["inclination"]
    assert record["repeatability"] == pytest.approx(3.490658503988659e-4, rel=1e-12)  # 0.02 * pi / 180, by hand
    assert record["resolution"] == pytest.approx(1.7453292519943296e-4, rel=1e-12)  # 0.01 * pi / 180
    assert record["u_zero"] == pytest.approx(8.726646259971648e-4, rel=1e-12)  # 0.05 * pi / 180


def test_the_newest_record_of_a_name_counts(done: Callable[..., str], done_json: Callable[..., Any]) -> None:
    done("enrol", "meter-a", *METER)
    done("enrol", "meter-a", *METER, "--state", "quarantined", "--note", "fell off the ladder")
    (known,) = done_json("enrol")
    assert (known["name"], known["state"], known["note"]) == ("meter-a", "quarantined", "fell off the ladder")
    assert "never checked" in done("enrol")


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("meter",), "no --profile or no --address"),
        (("meter", "--profile", "metre-line"), "no --profile or no --address"),
        (("meter", "--profile", "laser", "--address", "COM3"), "'laser'"),
        (("meter", "--profile", "metre-line", "--address", "COM3"), "nothing"),
        (("meter", "--profile", "tilt-line", "--address", "COM3"), "nothing"),
        (("meter", *METER[:4], "--repeatability", "0.7"), "'0.7'"),
        (("meter", *METER[:4], "--repeatability=-0.7 mm"), "repeatability: -0.0007"),
        (("meter", *METER, "--u-zero=-1 mm"), "u_zero: -0.001"),
        (("meter", *METER, "--resolution", "many"), "'many'"),
        (("meter", *METER, "--last-check", "31.1.2026"), "31.1.2026"),
        (("two words", *METER), "name: 'two words'"),
        (("meter", "--profile", "metre-line", "--address", "ftp://box", "--repeatability", "1 mm"), "'ftp://box'"),
        (("meter", "--profile", "metre-line", "--address", "gatt:C0", "--repeatability", "1 mm"), "gatt"),
    ],
)
def test_a_record_that_cannot_be_used_is_refused_and_leaves_nothing(
    fails: Callable[..., str], home: Path, words: tuple[str, ...], found: str
) -> None:
    assert f"found: {found}" in fails(2, "enrol", *words)
    assert not home.exists()


def test_a_bad_profile_of_ones_own_is_named_with_its_lines(fails: Callable[..., str], home: Path) -> None:
    (home / "profiles").mkdir(parents=True)
    text = 'schema = 1\nname = "own-meter"\ntitle = "example"\ntransports = ["serial"]\ncolour = "blue"\n\n'
    text += "[[line]]\nkind = \"measured\"\npattern = '(?P<length>\\d+) mm'\n"
    text += 'value = [{ group = "width", quantity = "length", unit = "mm" }]\n'
    (home / "profiles" / "own-meter.toml").write_text(text, encoding="utf-8")
    err = fails(2, "enrol", "meter", "--profile", "own-meter", "--address", "COM3", "--repeatability", "1 mm")
    assert "line 5" in err
    assert "width" in err
    assert "own-meter.toml" in err


def test_nothing_is_listed_where_there_is_no_ledger(fails: Callable[..., str]) -> None:
    assert "there is no ledger here" in fails(3, "enrol")


def test_a_writer_at_work_is_named_and_goes_on_undisturbed(home: Path, fails: Callable[..., str]) -> None:
    with Ledger.open(home) as ledger:
        err = fails(3, "enrol", "meter", *METER)
        ledger.append([{"kind": "note"}])
        assert ledger.head().size == 1
    assert f"process {os.getpid()} has the writer lock" in err
    assert "kept: nothing was written; the other writer goes on undisturbed" in err


def test_a_file_in_place_of_the_folder_is_told(home: Path, fails: Callable[..., str]) -> None:
    home.write_text("in the way", encoding="utf-8")
    assert str(home) in fails(3, "enrol", "meter", *METER)
    assert home.read_text(encoding="utf-8") == "in the way"


def test_a_folder_that_cannot_be_written_is_told(home: Path, fails: Callable[..., str], mocker: MockerFixture) -> None:
    mocker.patch.object(Path, "mkdir", side_effect=OSError(errno.EROFS, "Read-only file system", str(home)))
    err = fails(3, "enrol", "meter", *METER)
    assert "Read-only file system" in err
    assert "change the permissions" in err


def test_a_full_disk_is_told_and_what_is_stored_stays(
    home: Path, done: Callable[..., str], fails: Callable[..., str], mocker: MockerFixture
) -> None:
    done("enrol", "meter", *METER)
    full = sqlite3.OperationalError("database or disk is full")
    full.sqlite_errorcode = sqlite3.SQLITE_FULL
    mocker.patch("axledger.ledger.ledger.reserve_log", side_effect=full)
    assert "disk is full" in fails(3, "enrol", "second", *METER)
    mocker.stopall()
    assert done("enrol").count("\n") == 1
    done("verify")


def test_a_newer_ledger_is_not_written_to(home: Path, done: Callable[..., str], fails: Callable[..., str]) -> None:
    done("enrol", "meter", *METER)
    with closing(sqlite3.connect(home / "ledger.db")) as connection, connection:
        connection.execute("UPDATE meta SET value = '2' WHERE key = 'schema'")
    err = fails(3, "enrol", "second", *METER)
    assert "schema 2; this version knows up to 1" in err
    assert "kept: nothing was changed" in err
