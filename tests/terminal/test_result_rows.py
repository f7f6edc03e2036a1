from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from axledger.geometry.conformity import Verdict
from axledger.job.state import JobState
from axledger.terminal.result_rows import axle_blocks, block_of, result_row, verdict_counts, waiting_words


def _plain(pieces: list[tuple[str, str]]) -> str:
    return "".join(words for words, _ in pieces)


def test_results_are_grouped_by_axle_and_none_is_lost(finished: JobState) -> None:
    blocks = axle_blocks(finished)
    assert [block.title for block in blocks] == ["steer axle", "drive axle"]
    assert sum(len(block.results) for block in blocks) == len(finished.results)


def test_units_are_named_where_there_are_two(open_job: Any) -> None:
    state = open_job("tractor-4x2-semitrailer-3axle", repeats=1).state()
    titles = [block.title for block in axle_blocks(state)]
    assert titles[0] == "tractor steer axle"
    assert titles[-1] == "semitrailer axle 3"


@pytest.mark.parametrize("width", [80, 100, 120])
@pytest.mark.parametrize("unicode", [True, False])
def test_a_row_never_exceeds_its_width(finished: JobState, width: int, unicode: bool) -> None:
    for result in finished.results:
        for shown in (result, replace(result, value=None, u=None, verdict=Verdict.UNDETERMINED)):
            row = _plain(result_row(shown, width, unicode=unicode, waiting={result.key: "not yet: after D1Li>D2Ri#2"}))
            assert len(row) <= width
            assert row.endswith(shown.verdict.value)


def test_the_number_in_a_row_parses_back(finished: JobState) -> None:
    result = next(result for result in finished.results if result.key.endswith("wheelbase.left"))
    row = _plain(result_row(result, 80, unicode=True, waiting={}))
    value, _, expanded = row[16:].split()[:3]
    assert result.value is not None
    assert result.u95 is not None
    assert abs(Decimal(value) - Decimal(result.value * 1000)) <= Decimal("0.05")
    assert abs(Decimal(expanded) - Decimal(1000 * result.u95)) <= Decimal("0.05")


def test_an_open_result_names_its_shot(open_job: Any) -> None:
    job = open_job(repeats=1)
    waiting = waiting_words(job.state())
    assert waiting["tractor.steer.toe.total"] == "not yet: after S1Lr>S1Rr"
    job.act("skip", shot="S1Lr>S1Rr")
    assert waiting_words(job.state())["tractor.steer.toe.total"] == "needs S1Lr>S1Rr"
    assert "tractor.steer.toe.total" not in waiting_words(replace(job.state(), decisive={}))


def test_the_axle_shown_is_the_one_asked_for_or_that_of_the_last_shot(open_job: Any) -> None:
    job = open_job(repeats=1)
    while job.state().last is None or job.state().last.shot != "F0L>D1Lh":
        job.shoot()
    assert axle_blocks(job.state())[block_of(job.state(), None)].prefix == "tractor.drive"
    assert block_of(job.state(), "tractor.steer.toe.total") == 0
    assert block_of(job.state(), "tractor.drive") == 1
    assert block_of(job.state(), "no.such.key") == 1


def test_verdicts_are_counted(finished: JobState) -> None:
    counted = verdict_counts(finished.results, unicode=False)
    numbers = [int(word) for word in counted.split() if word.isdigit()]
    assert sum(numbers) == len(finished.results)
    assert verdict_counts((), unicode=True) == ""


def test_an_axle_is_headed_by_its_reference_and_a_result_with_another_says_so_where_there_is_room(
    open_job: Any,
) -> None:
    blocks = axle_blocks(open_job("tractor-6x4", repeats=1).state())
    reference = next(r.against for r in blocks[0].results if r.key.endswith("squareness"))
    assert {block.against for block in blocks} == {reference}
    rows = {
        width: "\n".join(
            _plain(result_row(result, width, unicode=True, waiting={}, reference=block.against))
            for block in blocks
            for result in block.results
        )
        for width in (80, 120)
    }
    assert "total toe, against the wheels of the axle" in rows[120]
    assert "parallelism, against drive axle 1" in rows[120]
    assert f"against {reference}" not in rows[120]
    assert "against" not in rows[80]
    assert max(len(row) for row in rows[120].splitlines()) <= 120
