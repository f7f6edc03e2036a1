from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from axledger.ledger import Ledger

METER = ("--profile", "metre-line", "--address", "/dev/meter", "--repeatability", "0.7 mm")
TILT = ("--profile", "tilt-line", "--address", "/dev/tilt", "--tilt-repeatability", "0.02 deg")
NEW = ("job", "new", "--vehicle", "semitrailer-1axle")


@pytest.fixture
def enrolled(done: Callable[..., str]) -> None:
    """Enrol one meter and one inclinometer."""
    done("enrol", "meter-a", *METER)
    done("enrol", "tilt-b", *TILT)


@pytest.mark.usefixtures("enrolled")
def test_a_job_is_opened_with_the_only_instruments_and_its_plan_is_proved(
    home: Path, done_json: Callable[..., Any]
) -> None:
    told = done_json(*NEW, "--limits", "example-trailer", "--name", "first", "--unit-number", "EX-7", "--load", "empty")
    assert told["job"] == "first"
    assert len(told["shots"]) == 8
    (forecast,) = told["forecast"]
    assert forecast["key"] == "trailer.axle1.squareness"
    assert forecast["determined"]
    assert 0 < forecast["u95"] < forecast["upper"]
    assert 0 < forecast["zone_left"] < 1
    assert told["undetermined"] == told["cannot_decide"] == []
    with Ledger.read(home) as ledger:
        (opened,) = ledger.entries(kinds={"job"})
    assert opened.body["vehicle"] == {"unit number": "EX-7", "load": "empty"}
    assert opened.body["repeats"] == 2
    assert done_json("job", "show", "first", "--plan") == told


@pytest.mark.usefixtures("enrolled")
def test_the_plan_fits_a_pipe_of_80_columns(done: Callable[..., str]) -> None:
    lines = done("job", "new", "--vehicle", "tractor-4x2", "--limits", "example-tractor").splitlines()
    assert max(map(len, lines)) <= 80
    assert "from floor beside the vehicle" in lines
    assert any(line.startswith("meter: meter-a") for line in lines)
    assert any(line.endswith("in use, never checked") for line in lines)
    numbered = [line.split()[:2] for line in lines if line[:4].strip().isdigit()]
    assert [number for number, _ in numbered] == [str(count) for count in range(1, len(numbered) + 1)]
    assert numbered[0] == ["1", "G:along"]
    assert "steer axle, against the frame line" in lines
    assert lines[-1].startswith("job ")


@pytest.mark.usefixtures("enrolled")
def test_a_job_without_limits_has_no_verdict_to_forecast(done: Callable[..., str]) -> None:
    out = done(*NEW)
    assert "no limits" in out
    assert "share:" not in out


@pytest.mark.usefixtures("enrolled")
def test_a_fresh_job_is_shown_with_everything_open(done: Callable[..., str], done_json: Callable[..., Any]) -> None:
    done(*NEW, "--name", "first")
    told = done_json("job", "show")
    assert (told["job"], told["closed"], told["round"], told["current"]) == ("first", False, 1, "GT:along")
    assert len(told["open"]) == 8
    assert told["readings"] == []
    assert told["results"][0]["verdict"] == "not determined"
    assert told["results"][0]["value"] is None
    out = done("job", "show", "first")
    assert out.startswith("job first: Semitrailer, one axle (example); open; no limits")
    assert "1 not determined" in out
    assert told["ledger"]["head"] in out


def test_a_finished_job_is_shown_with_its_readings_and_their_entries(
    worked: Path, done: Callable[..., str], done_json: Callable[..., Any]
) -> None:
    told = done_json("job", "show", "demo-4-1")
    assert told["closed"]
    assert told["open"] == []
    assert sum(told["counts"][state] for state in told["counts"] if state != "received") == told["counts"]["received"]
    with Ledger.read(worked) as ledger:
        arrivals = {entry.seq: bytes.fromhex(str(entry.body["hex"])) for entry in ledger.entries(kinds={"arrival"})}
    for reading in told["readings"]:
        assert bytes.fromhex(reading["raw"]).strip() in arrivals[reading["entry"]]
    assert "; closed; " in done("job", "show")


@pytest.mark.usefixtures("enrolled")
def test_a_job_is_closed_once(
    done: Callable[..., str], done_json: Callable[..., Any], fails: Callable[..., str]
) -> None:
    done(*NEW, "--name", "first")
    assert "--yes" in fails(2, "job", "close")
    statement = done_json("job", "close", "--yes")
    assert statement["kind"] == "statement"
    assert len(statement["open"]) == 8
    assert "the job is closed" in fails(2, "job", "close", "first")
    assert "job first is closed" in fails(2, "job", "run", "first")
    assert "`axledger report first`" not in done("job", "show", "first")
    done(*NEW, "--name", "second")
    assert done("job", "close", "--yes").startswith("job second closed")


@pytest.mark.usefixtures("enrolled")
@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("--repeats", "9"), "9"),
        (("--repeats", "0"), "0"),
        (("--meter", "meter-x"), "'meter-x'"),
        (("--meter", "tilt-b"), "inclination"),
        (("--limits", "strict"), "'strict'"),
        (("--vehicle", "hovercraft"), "'hovercraft'"),
        (("--vehicle", "gone.toml"), "No such file or directory"),
    ],
)
def test_what_cannot_be_opened_is_refused(
    home: Path, fails: Callable[..., str], words: tuple[str, ...], found: str
) -> None:
    assert f"found: {found}" in fails(2, *NEW, *words)
    with Ledger.read(home) as ledger:
        assert list(ledger.entries(kinds={"job", "layout"})) == []


@pytest.mark.usefixtures("enrolled")
def test_a_name_is_given_once(done: Callable[..., str], fails: Callable[..., str]) -> None:
    done(*NEW, "--name", "first")
    assert "job first exists" in fails(2, *NEW, "--name", "first")
    numbered = [done(*NEW).splitlines()[-1].split()[1] for _ in range(2)]
    assert [name.rsplit("-", 1)[1] for name in numbered] == ["1", "2"]


def test_without_instruments_a_job_cannot_be_opened(fails: Callable[..., str], done: Callable[..., str]) -> None:
    assert "the job has no meter" in fails(2, *NEW)
    done("enrol", "meter-a", *METER)
    err = fails(2, *NEW)
    assert "the job has no inclinometer" in err
    assert "axledger enrol" in err


@pytest.mark.usefixtures("enrolled")
def test_with_two_meters_one_has_to_be_named(done: Callable[..., str], fails: Callable[..., str]) -> None:
    done("enrol", "meter-c", *METER[:2], "--address", "/dev/other", *METER[4:])
    err = fails(2, *NEW)
    assert "found: meter-a, meter-c" in err
    assert "name it with --meter" in err
    done(*NEW, "--meter", "meter-c")
    done("enrol", "meter-c", *METER, "--state", "retired")
    assert "meter: meter-a" in done(*NEW)


@pytest.mark.usefixtures("enrolled")
def test_a_quarantined_instrument_is_refused(done: Callable[..., str], fails: Callable[..., str]) -> None:
    done("enrol", "meter-a", *METER, "--state", "quarantined")
    assert "the job has no meter" in fails(2, *NEW)
    assert "meter-a is quarantined" in fails(2, *NEW, "--meter", "meter-a")


@pytest.mark.usefixtures("enrolled")
def test_two_instruments_cannot_share_an_address(done: Callable[..., str], fails: Callable[..., str]) -> None:
    done("enrol", "tilt-b", "--profile", "tilt-line", "--address", "/dev/meter", "--tilt-repeatability", "0.02 deg")
    assert "found: meter-a at /dev/meter, tilt-b at /dev/meter" in fails(2, *NEW)


@pytest.mark.parametrize("words", [("show",), ("show", "--plan"), ("run",), ("close",)])
def test_without_a_ledger_there_is_no_job(home: Path, fails: Callable[..., str], words: tuple[str, ...]) -> None:
    assert "there is no ledger here" in fails(3, "job", *words)
    assert not home.exists()


@pytest.mark.usefixtures("enrolled")
@pytest.mark.parametrize("doing", ["show", "run", "close"])
def test_an_unknown_job_is_refused_with_the_known_ones(
    done: Callable[..., str], fails: Callable[..., str], doing: str
) -> None:
    assert "open one with `axledger job new`" in fails(2, "job", doing)
    done(*NEW, "--name", "first")
    assert "allowed: first" in fails(2, "job", doing, "third")


@pytest.mark.usefixtures("enrolled")
def test_a_layout_of_ones_own_with_faults_names_its_lines(fails: Callable[..., str], tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text('schema = 1\nname = "own"\ntitle = "example"\nsource = "invented"\nwheels = 18\n', encoding="utf-8")
    err = fails(2, "job", "new", "--vehicle", str(path))
    assert "line 5" in err
    assert "wheels" in err
