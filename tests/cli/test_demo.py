from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from axledger.geometry.conformity import Verdict

VERDICTS = {verdict.value for verdict in Verdict}
RESULT = {"key", "name", "unit", "value", "u95", "lower", "upper", "verdict", "round", "truth"}
WITHOUT_INPUT = """
import os, sys
os.close(0)
os.execv(sys.executable, [sys.executable, "-m", "axledger", "demo", "--vehicle", "semitrailer-1axle", "--json"])
"""


def assert_whole(told: dict[str, Any]) -> None:
    assert {"job", "vehicle", "seed", "shots", "readings", "results", "ledger", "report"} <= told.keys()
    assert told["readings"] >= told["shots"] > 0
    assert told["results"]
    for result in told["results"]:
        assert result.keys() >= RESULT
        assert result["unit"] in ("deg", "mm", "mm/m")
        assert result["verdict"] in VERDICTS
        assert (result["value"] is None) == (result["u95"] is None) == (result["verdict"] == "not determined")
        assert isinstance(result["truth"], float)
        assert result["round"] == 1
    assert told["ledger"].keys() == {"entries", "head"}
    assert re.fullmatch("[0-9a-f]{64}", told["ledger"]["head"])
    html = Path(told["report"]).read_text(encoding="utf-8")
    assert told["job"] in html
    assert told["ledger"]["head"] in html
    assert not re.findall(r"(?:src|href)\s*=\s*[\"'](?!#)", html)


def test_there_are_five_words_for_a_verdict() -> None:
    assert len(VERDICTS) == 5


@pytest.mark.slow
def test_the_demo_prints_one_object_that_says_everything(
    home: Path, done: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = done("demo", "--json")
    assert out.count("\n") == 1
    told = json.loads(out)
    assert_whole(told)
    assert (told["vehicle"], told["seed"]) == ("tractor-4x2-semitrailer-3axle", 1)
    assert len({result["verdict"] for result in told["results"]}) > 1
    assert any(result["lower"] is None and result["upper"] is None for result in told["results"])
    assert Path(told["report"]).is_relative_to(home / "demo")
    monkeypatch.setenv("AXLEDGER_HOME", str(home / "demo"))
    assert json.loads(done("verify", "--json"))["entries"] == told["ledger"]["entries"]
    assert json.loads(done("replay", "--json"))["identical"] is True
    shown = json.loads(done("job", "show", "--json"))
    assert [{**result, "truth": 0} for result in shown["results"]] == [
        {**result, "truth": 0} for result in told["results"]
    ]


if os.name == "posix":  # elsewhere a program cannot be started without a standard input

    def test_it_needs_no_standard_input(home: Path) -> None:
        made = subprocess.run(
            [sys.executable, "-c", WITHOUT_INPUT], capture_output=True, text=True, timeout=60, check=False,
            env={**os.environ, "AXLEDGER_HOME": str(home)},
        )  # fmt: skip
        assert (made.returncode, made.stderr) == (0, "")
        assert_whole(json.loads(made.stdout))


def test_one_seed_gives_the_same_bits_in_any_home_over_any_carrier(
    tmp_path: Path, done: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    carriers = ["pty", "pty", "socket"] if os.name == "posix" else ["socket", "socket"]
    told: list[dict[str, Any]] = []
    for number, carrier in enumerate(carriers):
        monkeypatch.setenv("AXLEDGER_HOME", str(tmp_path / str(number)))
        words = ("demo", "--vehicle", "semitrailer-1axle", "--limits", "example-trailer", "--seed", "7")
        told.append(json.loads(done(*words, "--slips", "0.2", "--carrier", carrier, "--json")))
    for other in told[1:]:
        assert other["results"] == told[0]["results"]
        assert other["counts"] == told[0]["counts"]
    monkeypatch.setenv("AXLEDGER_HOME", str(tmp_path / "another"))
    another = json.loads(done("demo", "--vehicle", "semitrailer-1axle", "--seed", "8", "--json"))
    assert another["results"][0]["truth"] != told[0]["results"][0]["truth"]


def test_in_words_it_says_what_was_simulated_and_how_to_prove_it(home: Path, done: Callable[..., str]) -> None:
    out = done("demo", "--vehicle", "semitrailer-1axle")
    assert "next: 1/8 GT:along" in out
    assert "accepted: reading 1" in out
    assert "EXAMPLE LIMITS" in out
    assert "were simulated (seed 1)" in out
    assert f"AXLEDGER_HOME={home / 'demo'} axledger verify" in out
    assert "\x1b" not in out


def test_without_any_output_it_still_runs(done: Callable[..., str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    assert done("demo", "--vehicle", "semitrailer-1axle") == ""


def test_a_second_demo_is_a_second_job_in_the_same_ledger(done_json: Callable[..., Any]) -> None:
    first = done_json("demo", "--vehicle", "semitrailer-1axle")
    second = done_json("demo", "--vehicle", "semitrailer-1axle")
    assert (first["job"], second["job"]) == ("demo-1-1", "demo-1-2")
    assert second["ledger"]["entries"] > first["ledger"]["entries"]
    # the same vehicle; what the first job taught of the crew's targets is in force in the second
    for before, after in zip(first["results"], second["results"], strict=True):
        assert (after["key"], after["truth"]) == (before["key"], before["truth"])
        assert abs(after["value"] - before["value"]) < before["u95"]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("--seed", "-1"), "seed -1"),
        (("--slips", "0.9"), "slips 0.9"),
        (("--vehicle", "hovercraft"), "'hovercraft'"),
        (("--limits", "strict"), "'strict'"),
    ],
)
def test_what_cannot_be_simulated_is_refused(
    fails: Callable[..., str], home: Path, words: tuple[str, ...], found: str
) -> None:
    assert found in fails(2, "demo", *words)
    assert not home.exists()
