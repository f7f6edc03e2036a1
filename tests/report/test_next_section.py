from __future__ import annotations

from dataclasses import replace
from html import unescape
from math import radians

from axledger.geometry.conformity import Verdict
from axledger.geometry.reliability import global_test
from axledger.job.advice import Advice
from axledger.job.board import MadeMove
from axledger.job.findings import FALSE_ALARM, Cure, Finding, Findings
from axledger.job.moves import Expected, Move, MovePlan
from axledger.job.next_steps import NextSteps
from axledger.job.state import JobState
from axledger.report.next_section import next_section
from axledger.report.sheet import sheet_html

EVIL = "<b>F0L>S1Rf</b> is 30.1 mm too long"
NONE = Findings(
    findings=(), false_alarm=FALSE_ALARM, global_test=global_test(0.0, 0.0, FALSE_ALARM), smallest_visible={}
)
FINDING = Finding(
    slip="misread", shots=("F0L>S1Rf",), words=EVIL, drop=30.0, size_si=0.0301,
    cure=Cure(act="retake", arguments={"shot": "F0L>S1Rf"}, words="shoot F0L>S1Rf again"),
)  # fmt: skip
MOVE = Move(
    adjuster="tractor.drive-shift", unit="tractor", axle="D1", axle_name="drive axle", end="left", way="forward",
    amount_mm=3.4, signed_mm=3.4, steps=None, turns=None, words="move the left end of drive axle forward 3.4 mm",
)  # fmt: skip
EXPECTED = Expected(
    key="tractor.drive.squareness", name="drive axle: squareness", unit="deg", before=radians(-0.344),
    after=radians(0.002), u=radians(0.02), lower=None, upper=None, verdict=Verdict.CONFORMS, probability=0.99,
)  # fmt: skip
PLAN = MovePlan(
    moves=(MOVE,), predicted=(EXPECTED,), cannot=("steer axle: total toe has no adjuster",), measure_first=("offset",)
)
ADVICE = Advice(
    kind="repeat", shot="F0L>S1Rf", words="one more reading of F0L>S1Rf", helps={}, needed=1, chance=0.6, seconds=13.0,
    act="more", arguments={"shots": ["F0L>S1Rf"], "readings": 1},
)  # fmt: skip


def test_a_state_without_steps_has_no_section(state: JobState) -> None:
    assert next_section(replace(state, steps=None)) == ""


def test_a_clean_sheet_says_what_no_test_could_have_seen(state: JobState) -> None:
    html = next_section(replace(state, steps=NextSteps(findings=NONE)))
    assert "a mirror image fits every distance alike" in html
    assert html.count("<h3>") == 0


def test_a_slip_that_stands_is_said_aloud_with_its_cure_and_is_no_markup(state: JobState) -> None:
    found = replace(NONE, findings=(FINDING,))
    html = next_section(replace(state, steps=NextSteps(findings=found)))
    assert "<b>" not in html
    text = unescape(html)
    assert f"{EVIL}; to settle it: shoot F0L>S1Rf again" in text
    assert "no result of this round can be relied on" in text
    assert "No test of these readings can show that left and right were exchanged" in text
    assert 'class="loud"' in html
    assert "What to move" not in html


def test_moves_advice_and_settings_have_their_own_parts(state: JobState) -> None:
    steps = NextSteps(
        findings=NONE, moves=PLAN, advice=(ADVICE,), settings=("settings of hub targets taken as 1.6 times stated",)
    )
    html = next_section(replace(state, steps=steps))
    text = unescape(html)
    for words in (
        "1. move the left end of drive axle forward 3.4 mm", "steer axle: total toe has no adjuster",
        "one more reading of F0L>S1Rf", "1.6 times stated", "Chock the wheels first",
        "<td>-0.34 deg</td><td>0.00 deg</td><td>0.04 deg</td><td>conforms</td>",
    ):  # fmt: skip
        assert words in text
    assert "Moves were told as made" not in text
    made = MadeMove(
        round=1, unit="tractor", axle="D1", adjuster="tractor.drive-shift", end="left", amount_m=0.0034, steering=False
    )
    assert "Moves were told as made" in next_section(replace(state, steps=replace(steps, made=(made,))))


def test_it_is_a_section_of_the_sheet(state: JobState) -> None:
    steps = NextSteps(findings=NONE, moves=PLAN)
    html = sheet_html(
        replace(state, steps=steps), statement=None, head_size=77, head_root="ab" * 32, versions={"axledger": "0.1"},
        instruments_seq={"meter": 4}, generated="2025-03-01 12:00 UTC",
    )  # fmt: skip
    assert html.count('id="next"') == 1
    assert "Expected, to be confirmed by measuring again" in html
