from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from axledger.job.proof import prove
from axledger.job.solution import Result
from axledger.terminal.forecast import forecast_lines


def forecast(job: Any) -> tuple[Result, ...]:
    fold = job.fold
    return tuple(prove(fold.fresh_solver(), fold.layout, fold.shots(), fold.header.repeats).results)


@pytest.fixture(scope="module")
def results(open_job: Any) -> tuple[Result, ...]:
    return forecast(open_job("tractor-4x2-semitrailer-3axle"))


def test_every_result_has_a_line_under_its_axle_and_nothing_is_wider_than_a_pipe(results: tuple[Result, ...]) -> None:
    for width in (80, 120):
        lines = forecast_lines(results, width=width)
        assert max(map(len, lines)) <= width
        for result in results:
            axle, quantity = result.name.split(": ", 1)
            of_axle = [other for other in results if other.key.split(".")[:2] == result.key.split(".")[:2]]
            square = next(other for other in of_axle if other.key.endswith(".squareness"))
            heading = lines.index(f"{axle}, against {square.against}")
            under = [line for line in lines[heading + 1 :] if line.startswith("  ")]
            assert f" {quantity} " in f" {' '.join(' '.join(under).split())} "  # a long name takes two lines


def test_figures_are_in_the_results_unit(results: tuple[Result, ...]) -> None:
    result = replace(
        results[0], name="axle: offset", unit="mm", u=0.001, forecast_u=0.001, forecast_u95=0.002, lower=-0.01,
        upper=0.01, zone_left=0.8,
    )  # fmt: skip
    lines = forecast_lines([result], width=80)
    assert lines[1] == f"axle, against {result.against}"
    assert lines[2].split() == ["offset", "2", "mm", "-10", "to", "10", "80%"]
    assert lines[3].startswith("share: ")


def test_what_cannot_be_decided_or_determined_says_so(results: tuple[Result, ...]) -> None:
    hopeless = replace(results[0], lower=None, upper=0.001, zone_left=-0.2)
    (row,) = [line for line in forecast_lines([hopeless]) if line.startswith(f"  {hopeless.name.split(': ')[1]}")]
    assert "- to " in row
    assert row.endswith("nowhere")
    open_end = replace(results[0], u=None, lower=None, upper=None, zone_left=None)
    lines = forecast_lines([open_end])
    assert lines[2].endswith("not determined")
    assert not any(line.startswith("share:") for line in lines)


def test_without_unicode_it_is_ascii(results: tuple[Result, ...]) -> None:
    assert all(line.isascii() for line in forecast_lines(results, unicode=False))
