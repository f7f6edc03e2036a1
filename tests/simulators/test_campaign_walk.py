from __future__ import annotations

from pathlib import Path

import pytest

from axledger.job.findings import Cure, Finding
from axledger.job.opening import fold_job
from axledger.ledger import Ledger, verify_folder
from axledger_drivers.registry import decoder_for
from axledger_simulators.campaign_draws import CampaignPlan, draw_rows
from axledger_simulators.campaign_walk import Bay, JobDraw, layout_named


@pytest.fixture
def draw() -> JobDraw:
    return draw_rows(CampaignPlan(seed=2, layouts=("semitrailer-1axle",), repeats=2, procedure="default"), 1)[0][0]


def test_what_a_bay_writes_is_a_sound_ledger_that_folds_to_the_same(draw: JobDraw, tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        walk, at_limit = Bay(ledger, draw).opened(draw)
        assert at_limit == frozenset()
        walk.whole()
        walk.run.stop()
        walk.run.close_job()
        again = fold_job(ledger, walk.run.fold.job, decoder_for)
        assert again.board == walk.run.fold.board
        assert again.statements == walk.run.fold.statements
        # bytes came in as arrivals, one line each
        assert sum(entry.kind == "arrival" for entry in ledger.entries()) == len(again.readings)
    assert verify_folder(tmp_path).ok


def test_a_finding_is_followed_by_taking_its_cure(draw: JobDraw, tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        walk, _ = Bay(ledger, draw).opened(draw)
        walk.whole()
        shot = walk.run.fold.shots()[-1].id
        before = walk.run.fold.board.accepted(shot)
        cure = Cure(act="retake", arguments={"shot": shot}, words="again")
        walk.follow(Finding(slip="misread", shots=(shot,), words="", cure=cure, drop=1.0, size_si=None))
        after = walk.run.fold.board.accepted(shot)
        assert walk.run.fold.current() is None
        walk.run.stop()
    assert len(after) == len(before) == 2
    assert not set(after) & set(before)


def test_a_second_job_of_a_bay_knows_the_first(draw: JobDraw, tmp_path: Path) -> None:
    plan = CampaignPlan(seed=2, layouts=("semitrailer-1axle",), repeats=2, procedure="default", in_a_row=2)
    first, second = draw_rows(plan, 2)[0]
    with Ledger.open(tmp_path) as ledger:
        bay = Bay(ledger, first)
        walk, _ = bay.opened(first)
        assert not walk.run.fold.in_force.weights
        walk.whole()
        walk.run.stop()
        walk.run.close_job()
        later, _ = bay.opened(second)
        assert later.run.fold.in_force.weights
        later.run.stop()


def test_a_shipped_layout_is_read_once() -> None:
    assert layout_named("semitrailer-1axle") is layout_named("semitrailer-1axle")
