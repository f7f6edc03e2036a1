"""The campaign's arithmetic on results made by hand, and one small real campaign."""

from __future__ import annotations

from typing import Any

import pytest

from axledger_simulators.campaign import CampaignFigures, run_campaign


def _result(value: float | None, truth: float, verdict: str) -> dict[str, Any]:
    return {"key": "unit.axle.toe.total", "value": value, "u95": 2.0, "truth": truth, "verdict": verdict}


def test_figures_of_results_made_by_hand() -> None:
    figures = CampaignFigures()
    # u is 1, so the deviations below are 1, 3 and 2 standard uncertainties; the last result is not determined
    figures.take([_result(1.0, 0.0, "conforms"), _result(0.0, 3.0, "does not conform")])
    figures.take([_result(5.0, 3.0, "undecided"), _result(None, 3.0, "not determined")])
    assert figures.jobs == 2
    assert figures.coverage == pytest.approx(2 / 3)
    assert figures.mean_square == pytest.approx((1 + 9 + 4) / 3)
    assert figures.decided == pytest.approx(0.5)
    assert "within u95 0.6667" in figures.words()


@pytest.mark.slow
def test_a_small_campaign_over_two_layouts() -> None:
    figures = run_campaign(range(71, 75), ["semitrailer-1axle", "semitrailer-2axle"])
    assert figures.jobs == 4
    # 1 result and 6 results a job; every one must be determined, and 14 results cannot all miss their u95
    assert len(figures.everything) == 14
    assert figures.coverage > 0.6
    assert figures.verdicts["not determined"] == 0
