from __future__ import annotations

import io
from dataclasses import replace

from rich.console import Console
from rich.table import Table

from axledger.job.state import JobState
from axledger.terminal.tables import instruments_table, plan_table, results_lines, results_text


def _printed(table: Table, width: int = 120) -> str:
    stream = io.StringIO()
    Console(file=stream, width=width).print(table)
    return stream.getvalue()


def test_every_result_has_its_line_and_the_sums_close(finished: JobState) -> None:
    for width in (80, 100):
        lines = results_lines(finished, width=width)
        assert all(len(line) <= width for line in lines)
        assert sum(line.endswith(tuple(v.verdict.value for v in finished.results)) for line in lines[:-1]) == len(
            finished.results
        )
        assert any("EXAMPLE LIMITS" in line for line in lines)


def test_the_plan_lists_every_shot_in_order(finished: JobState) -> None:
    printed = _printed(plan_table(finished.shots, unicode=False), 160)
    assert printed.isascii()
    places = [printed.index(f" {view.shot.id} ") for view in finished.shots]
    assert places == sorted(places)
    assert "turn D1Lh" in printed


def test_an_instrument_that_was_never_checked_says_so(finished: JobState) -> None:
    printed = _printed(instruments_table(finished.instruments), 160)
    assert "never checked" in printed
    assert "2025-02-27" in printed
    assert "0.70 mm" in printed


def test_markup_in_text_stays_text(finished: JobState) -> None:
    meter = finished.instruments["meter"].model_copy(update={"serial": "[bold]\x1b[2J"})
    printed = _printed(instruments_table({"meter": meter}), 160)
    assert "[bold]\\x1b" in printed


def test_a_job_without_results_says_so(finished: JobState) -> None:
    empty = replace(finished, results=(), limits_example=False)
    assert results_text(empty, colour=False).plain.startswith("no results yet")
