from __future__ import annotations

from dataclasses import replace

import pytest

from axledger_simulators.blunders import Blunder
from axledger_simulators.campaign_draws import CampaignPlan, draw_rows
from axledger_simulators.campaign_job import JobOutcome, run_row
from axledger_simulators.campaign_walk import JobDraw


@pytest.fixture
def draw() -> JobDraw:
    plan = CampaignPlan(seed=2, layouts=("semitrailer-2axle",), meter_mm=0.7, repeats=2, procedure="default")
    return draw_rows(plan, 1)[0][0]


def _alone(draw: JobDraw) -> JobOutcome:
    (outcome,) = run_row([draw])
    return outcome


def test_a_clean_job_states_every_result_beside_its_truth(draw: JobDraw) -> None:
    outcome = _alone(draw)
    assert (outcome.clean, outcome.alarm) == (True, False)
    assert outcome.readings >= 2 * outcome.shots
    assert {result.kind for result in outcome.results} >= {"offset", "parallelism", "spacing", "squareness"}
    for result in outcome.results:
        assert result.value is not None
        assert result.u is not None
        assert abs(result.value - result.truth) < 6.0 * result.u
    assert replace(_alone(draw), seconds=0.0) == replace(outcome, seconds=0.0)


def test_a_slip_is_repeated_and_stood_by(draw: JobDraw) -> None:
    outcome = _alone(replace(draw, blunder=Blunder.PAST))
    assert not outcome.clean
    assert outcome.slip is not None
    assert outcome.slip.held
    assert outcome.slip.size_m > 0.29
    assert outcome.slip.detectable
    assert outcome.held >= 1


def test_truths_planted_at_limits_are_marked(draw: JobDraw) -> None:
    marked = [result for result in _alone(replace(draw, at_limit=True)).results if result.at_limit]
    assert len(marked) >= 3
    for result in marked:
        ends = [end for end in (result.lower, result.upper) if end is not None]
        assert min(abs(result.truth - end) for end in ends) == pytest.approx(0.0, abs=1e-6)


def test_enrolled_targets_are_known_and_a_bent_one_is_named(draw: JobDraw) -> None:
    plan = CampaignPlan(
        seed=2, layouts=("semitrailer-2axle",), meter_mm=0.7, repeats=2, procedure="default", history="enrolled",
        in_a_row=2, bend_mm=4.0,
    )  # fmt: skip
    before, bent = run_row(draw_rows(plan, 2)[0])
    (target,) = bent.draw.faults.bent_mm
    assert before.settings.target_alarms == frozenset()
    assert bent.settings.target_alarms == {target}
    assert set(before.settings.factor) == {"hub", "inboard"}


def test_a_vehicle_is_worked_on_as_advised(draw: JobDraw) -> None:
    outcome = _alone(replace(draw, mend=True))
    assert outcome.mended is not None
    assert len(outcome.mended.inside) == len(outcome.mended.moves) + 1
    # the results are of the first round, before anything was moved
    assert [result.truth for result in outcome.results] == [result.truth for result in _alone(draw).results]
