from __future__ import annotations

from dataclasses import replace
from itertools import groupby

from axledger.job.state import JobState
from axledger.terminal.tables import instrument_lines, plan_lines, results_lines, results_text


def test_every_result_has_its_line_and_the_sums_close(finished: JobState) -> None:
    for width in (80, 100):
        lines = results_lines(finished, width=width)
        assert all(len(line) <= width for line in lines)
        assert sum(line.endswith(tuple(v.verdict.value for v in finished.results)) for line in lines[:-1]) == len(
            finished.results
        )
        assert any("EXAMPLE LIMITS" in line for line in lines)


def test_the_plan_lists_every_shot_in_order_and_fits_a_pipe(finished: JobState) -> None:
    lines = plan_lines(finished.shots, width=80, unicode=False)
    assert all(len(line) <= 80 and line.isascii() for line in lines)
    shots = [line.split()[:2] for line in lines if line.strip()[0].isdigit()]
    assert shots == [[str(view.number), view.shot.id] for view in finished.shots]
    assert any(line.startswith("      turn D1Lh") for line in lines)
    assert sum(line.endswith("taken") for line in lines) == len(finished.shots)


def test_the_plan_says_where_one_stands_once_for_all_shots_from_there(finished: JobState) -> None:
    fresh = [replace(view, status="open", readings=()) for view in finished.shots]
    lines = plan_lines(fresh)
    stands = [key for key, _ in groupby(view.start_words for view in finished.shots)]
    assert [line for line in lines if line.startswith("from ")] == [f"from {words}" for words in stands]
    assert not any("taken" in line for line in lines)


def test_targets_to_turn_and_to_fold_come_before_their_shot(finished: JobState) -> None:
    first = finished.shots[0]
    view = replace(first, shot=replace(first.shot, turn=("T3Lh",), fold=("T2Lh",)), status="skipped", readings=())
    assert plan_lines([view], width=90)[1:] == (
        "      turn T3Lh, fold T2Lh, then",
        f"   1  {first.shot.id:16}  along the vehicle; skipped, 0 taken",
    )


def test_an_instrument_that_was_never_checked_says_so(finished: JobState) -> None:
    lines = instrument_lines(finished.instruments, width=80)
    assert all(len(line) <= 80 for line in lines)
    assert lines == (
        "meter: meter-a, serial A-17, in use, last check 2025-02-27",
        "  length: repeats to 0.70 mm, zero 0 mm (u 1.0 mm)",
        "inclinometer: tilt-b, in use, never checked",
        "  inclination: repeats to 0.011 deg, zero 0 deg (u 0.057 deg)",
    )


def test_control_codes_in_text_are_written_out(finished: JobState) -> None:
    meter = finished.instruments["meter"].model_copy(update={"serial": "[bold]\x1b[2J"})
    assert "[bold]\\x1b" in instrument_lines({"meter": meter})[0]


def test_a_job_without_results_says_so(finished: JobState) -> None:
    empty = replace(finished, results=(), limits_example=False)
    assert results_text(empty, colour=False).plain.startswith("no results yet")
