from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from axledger.drawing.figures import Units
from axledger.geometry.conformity import Rule
from axledger.job.state import JobState
from axledger.report.result_section import probability_words, result_section, rounds_section, rule_words

MM = Units()


def _words(html: str) -> str:
    return " ".join("".join(ElementTree.fromstring(html).itertext()).split())


def test_every_result_has_value_limits_drawing_verdict_and_source(state: JobState) -> None:
    section = ElementTree.fromstring(result_section(state, MM))
    rows = [row for table in section.iter("table") for row in table.iter("tr") if row.find("td") is not None]
    assert len(rows) == len(state.results)
    shown = [" ".join("".join(cell.itertext()).split()) for cell in rows[1]]
    # -0.006 rad is -0.3438 deg, U = 2 * 0.0004 rad is 0.0458 deg, 0.003 rad is 0.1719 deg (computed by hand)
    assert shown == ["squareness", "-0.344 ± 0.046 deg points right", "-0.1719 to +0.1719 deg", "", "does not conform",
                     "below 0.1 %", "invented sheet, revision 3"]  # fmt: skip
    label = next(rows[1].iter("svg")).get("aria-label")
    assert label == "-0.344 ± 0.046 deg; limits -0.1719 to +0.1719 deg"


def test_example_limits_are_said_loudly_and_real_ones_are_not(state: JobState) -> None:
    assert "EXAMPLE LIMITS" in result_section(state, MM)
    assert "EXAMPLE" not in result_section(replace(state, limits_example=False), MM)


def test_what_is_not_determined_names_the_shot_that_would_do_it(state: JobState) -> None:
    assert "not yet determined (wants shot D1Rh>S1Rh)" in _words(result_section(state, MM))


def test_a_job_without_results_says_so(state: JobState) -> None:
    assert "No results" in result_section(replace(state, results=()), MM)


@pytest.mark.parametrize("rule", list(Rule))
def test_each_rule_is_told_in_words(rule: Rule) -> None:
    assert rule_words(rule.value).startswith("Decision rule: ")
    assert len(rule_words(rule.value)) > 80


def test_no_rule_and_an_unknown_one_are_told_too() -> None:
    assert "No limits were given" in rule_words("")
    assert rule_words("a rule of tomorrow") == "Decision rule: a rule of tomorrow."


def test_a_probability_is_never_rounded_to_certainty() -> None:
    assert [probability_words(p) for p in (None, 0.0, 0.5, 0.9984, 1.0)] == [
        "", "below 0.1 %", "50.0 %", "99.8 %", "above 99.9 %",
    ]  # fmt: skip


def test_rounds_stand_side_by_side(state: JobState, two_rounds: JobState) -> None:
    assert rounds_section(state, MM) == ""
    section = ElementTree.fromstring(rounds_section(two_rounds, MM))
    columns = [th.text for th in next(section.iter("thead")).iter("th")]
    assert columns == ["result", "round 1", "round 2", "limits"]
    row = next(row for row in section.iter("tr") if "squareness" in "".join(row.itertext()))
    cells = [" ".join("".join(cell.itertext()).split()) for cell in row]
    assert cells[1:3] == ["-0.344 ± 0.046 deg points right does not conform", "+0.029 ± 0.046 deg points left conforms"]
    assert "not determined" in _words(rounds_section(two_rounds, MM))


def test_an_axle_is_headed_by_its_reference_and_a_row_names_its_own(state: JobState) -> None:
    toe, *others = [
        replace(result, key=result.key.replace(".steer.", ".drive."), name=result.name.replace("steer", "drive"))
        for result in state.results
    ]
    toe = replace(toe, against="the wheels of the axle")
    words = _words(result_section(replace(state, results=(toe, *others)), MM))
    assert "tractor, drive axle, against the frame line" in words.replace("Tractor", "tractor")
    assert "total toe, against the wheels of the axle" in words
    assert words.count("against the frame line") == 1
