"""Small real campaigns: the JSON they give, that it does not depend on who does the work, that a slip is found."""

from __future__ import annotations

import json
import os
from typing import Any

import pytest

from axledger_simulators.campaign import main, run_campaign
from axledger_simulators.campaign_draws import CampaignPlan
from axledger_simulators.campaign_figures import figures

_SMALL = ("semitrailer-1axle", "semitrailer-2axle")


def _without_times(found: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in found.items() if "seconds" not in name}


@pytest.mark.slow
def test_figures_do_not_depend_on_the_number_of_processes() -> None:
    before = os.environ.get("OPENBLAS_NUM_THREADS")
    plan = CampaignPlan(seed=3, layouts=_SMALL, procedure="default")
    one, two = (_without_times(figures(run_campaign(plan, 8, processes=n), seconds=0.0)) for n in (1, 2))
    assert one == two
    assert one["jobs"] == one["clean_jobs"] == 8
    everything = one["coverage"]["all"]
    # at least 1 and 6 results a job, every one determined; they cannot all miss
    assert everything["n"] >= 4 * 1 + 4 * 6
    assert everything["not_determined"] == 0
    assert everything["inside"] > 0.7 * everything["n"]
    assert one["layouts"] == dict.fromkeys(_SMALL, 4)
    assert os.environ.get("OPENBLAS_NUM_THREADS") == before


@pytest.mark.slow
def test_a_unit_slip_is_found_and_named(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--jobs", "2", "--seed", "4", "--vehicle", "semitrailer-2axle", "--slip", "unit", "--processes", "0"]
    assert main([*asked, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert set(found) >= {
        "jobs", "clean_jobs", "layouts", "coverage", "verdicts", "beyond_guard", "at_limit", "slips",
        "false_alarm_jobs", "settings", "bend", "mended", "shots", "readings", "seconds",
    }  # fmt: skip
    unit = found["slips"]["unit"]
    assert (unit["planted"], unit["detectable"], unit["found"], unit["named"]) == (2, 2, 2, 2)
    assert unit["held_at_once"] == 2
    assert found["clean_jobs"] == 0


@pytest.mark.slow
def test_truths_at_limits_are_counted(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--jobs", "2", "--seed", "4", "--vehicle", "semitrailer-2axle", "--processes", "0"]
    assert main([*asked, "--at-limit"]) == 0
    text = capsys.readouterr().out
    assert "truth exactly at a limit" in text
    assert "2 jobs (2 clean)" in text
