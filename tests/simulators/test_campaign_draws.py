from __future__ import annotations

from collections import Counter

from axledger_simulators.blunders import Blunder
from axledger_simulators.campaign_draws import CampaignPlan, draw_rows
from axledger_simulators.campaign_walk import JobDraw

_LAYOUTS = ("semitrailer-1axle", "semitrailer-2axle")


def _drawn(plan: CampaignPlan, jobs: int) -> list[JobDraw]:
    return [draw for row in draw_rows(plan, jobs) for draw in row]


def test_a_job_depends_on_seed_and_number_alone() -> None:
    plan = CampaignPlan(seed=5, layouts=_LAYOUTS)
    assert _drawn(plan, 4) == _drawn(plan, 9)[:4]
    seeds = [draw.seed for draw in _drawn(plan, 9)]
    assert len(set(seeds)) == 9
    assert not set(seeds) & {draw.seed for draw in _drawn(CampaignPlan(seed=6, layouts=_LAYOUTS), 9)}


def test_meters_repeats_procedures_and_layouts_all_occur_unless_chosen() -> None:
    drawn = _drawn(CampaignPlan(seed=1, layouts=_LAYOUTS), 60)
    assert Counter(job.layout for job in drawn) == dict.fromkeys(_LAYOUTS, 30)
    assert {job.repeatability_m for job in drawn} == {0.0007, 0.0003}
    assert {job.form for job in drawn} == {"metre-line", "metre-line-fine"}
    assert {job.repeats for job in drawn} == {1, 2}
    assert {job.chosen.procedure for job in drawn} == {"short", "default", "thorough"}
    assert {job.chosen.turns for job in drawn} == {True, False}
    chosen = _drawn(CampaignPlan(seed=1, layouts=_LAYOUTS, meter_mm=0.7, repeats=2, procedure="thorough"), 20)
    assert {(job.repeatability_m, job.repeats) for job in chosen} == {(0.0007, 2)}
    assert {(job.chosen.procedure, job.chosen.turns) for job in chosen} == {("thorough", True)}


def test_mixed_slips_come_in_turn_with_clean_jobs_on_every_layout_and_full_plans() -> None:
    drawn = _drawn(CampaignPlan(seed=1, layouts=_LAYOUTS, slip="mixed"), 2 * (len(Blunder) + 1))
    seen = Counter((job.layout, job.blunder) for job in drawn)
    assert set(seen.values()) == {1}
    assert {blunder for _, blunder in seen} == {*Blunder, None}
    assert {(job.chosen.procedure, job.chosen.turns, job.repeats) for job in drawn} == {("default", True, 2)}
    (one,) = _drawn(CampaignPlan(seed=1, layouts=_LAYOUTS, slip="unit"), 1)
    assert one.blunder is Blunder.UNIT


def test_settings_are_drawn_in_other_shapes_than_the_solver_takes_them_for() -> None:
    (one,) = _drawn(CampaignPlan(seed=1, layouts=_LAYOUTS, settings=2.0), 1)
    assert one.faults.settings == 2.0
    assert one.faults.shapes == ("uniform", "laplace")
    assert one.faults.unevenness > 0.0
    assert one.kit_seed != one.seed


def test_a_settled_row_counts_from_its_twentieth_job_on() -> None:
    rows = draw_rows(CampaignPlan(seed=1, layouts=_LAYOUTS, history="settled"), 30)
    assert [len(row) for row in rows] == [40, 28]
    assert [sum(draw.counted for draw in row) for row in rows] == [21, 9]
    assert [draw.counted for draw in rows[0]].index(True) == 19
    assert all(len({draw.kit_seed for draw in row}) == 1 for row in rows)
    assert rows[0][0].kit_seed != rows[1][0].kit_seed


def test_a_target_bends_half_way_along_a_row() -> None:
    plan = CampaignPlan(seed=1, layouts=_LAYOUTS, history="enrolled", in_a_row=6, bend_mm=1.0)
    (row,) = draw_rows(plan, 6)
    assert [bool(draw.faults.bent_mm) for draw in row] == [False] * 3 + [True] * 3
    assert all(draw.enrolled for draw in row)
    ((target, size),) = row[-1].faults.bent_mm.items()
    assert size == 1.0
    assert target in ("T1Lh", "T1Rh")
