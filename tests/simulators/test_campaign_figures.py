"""The arithmetic of a campaign's figures on outcomes made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from axledger_simulators.campaign_draws import CampaignPlan, draw_rows
from axledger_simulators.campaign_figures import figures, truth_class, words
from axledger_simulators.campaign_job import JobOutcome, SettingsSaid, StatedResult
from axledger_simulators.mending import Mended
from axledger_simulators.slip_outcome import SlipOutcome


def _result(
    value: float | None, truth: float, verdict: str, *, kind: str = "toe.total", at_limit: bool = False
) -> StatedResult:
    known = value is not None
    return StatedResult(
        kind=kind, truth=truth, value=value, u=1.0 if known else None, u95=2.0 if known else None,
        low=value - 2.0 if value is not None else None, high=value + 2.0 if value is not None else None,
        lower=0.0, upper=20.0, verdict=verdict, at_limit=at_limit,
    )  # fmt: skip


def _outcome(*results: StatedResult, clean: bool = True, alarm: bool = False, number: int = 0) -> JobOutcome:
    ((draw,),) = draw_rows(CampaignPlan(seed=1, layouts=("semitrailer-1axle",)), 1)
    return JobOutcome(
        draw=replace(draw, number=number, row=number), results=results, shots=3, readings=6, held=0, clean=clean,
        alarm=alarm, slip=None, settings=_SAID, mended=None, seconds=0.5,
    )  # fmt: skip


_SAID = SettingsSaid(
    factor={"hub": 2.0}, kind_alarms=frozenset(), target_alarms=frozenset(), targets=frozenset({"T1Lh", "T1Rh"})
)

_SLIP = SlipOutcome(
    blunder="swap", size_m=0.01, detectable=True, found=True, named=True, in_pair=True, harmless=False, held=True,
    named_at_once=False, named_with_pair=True,
)  # fmt: skip


def test_coverage_and_mean_square() -> None:
    # u is 1: the deviations are 1, 3 and 2 standard uncertainties; the last result is not determined
    found = figures(
        [
            _outcome(_result(11.0, 10.0, "conforms"), _result(10.0, 13.0, "conforms")),
            _outcome(_result(12.0, 10.0, "conforms"), _result(None, 10.0, "not determined")),
            _outcome(_result(99.0, 10.0, "does not conform"), clean=False),
        ],
        seconds=2.0,
    )
    assert found["coverage"]["toe.total"] == {
        "n": 3, "inside": 2, "nees": pytest.approx((1 + 9 + 4) / 3, abs=1e-6), "not_determined": 1,
    }  # fmt: skip
    assert found["coverage"]["all"]["n"] == 3
    assert (found["jobs"], found["clean_jobs"], found["shots"], found["readings"]) == (3, 2, 9, 18)


@pytest.mark.parametrize(
    ("truth", "expected"),
    [(4.1, 0), (15.9, 0), (3.9, 1), (0.0, 1), (-3.9, 1), (23.9, 1), (-4.1, 2), (24.1, 2)],
)
def test_classes_of_truth(truth: float, expected: int) -> None:
    names = ("inside by >= 2U", "near a limit", "outside by >= 2U")
    assert truth_class(_result(5.0, truth, "conforms")) == names[expected]
    assert truth_class(replace(_result(5.0, truth, "no limit"), lower=None, upper=None)) is None
    assert truth_class(_result(None, truth, "not determined")) is None


def test_verdicts_by_class_limits_and_the_guard_band() -> None:
    found = figures(
        [
            _outcome(
                _result(10.0, 10.0, "conforms"),
                _result(1.0, 1.0, "undecided"),
                _result(-9.0, -9.0, "does not conform"),
                _result(4.7, 4.7, "undecided"),
                _result(20.0, 20.0, "conforms", at_limit=True),
                _result(20.0, 20.0, "undecided", at_limit=True),
            )
        ],
        seconds=1.0,
    )
    assert found["verdicts"]["inside by >= 2U"] == {"conforms": 1, "does not conform": 0, "undecided": 1}
    assert found["verdicts"]["near a limit"]["undecided"] == 1
    assert found["verdicts"]["outside by >= 2U"]["does not conform"] == 1
    assert found["at_limit"] == {"n": 2, "conforms": 1}
    # 3 u beyond a guard band of 1.65 u: truths 10, -9 and 4.7 lie at least 4.65 u from a limit
    assert found["beyond_guard"] == {"n": 3, "decided": 2}


def test_slips_are_counted_by_kind_and_large_exchanges_apart() -> None:
    slips = [_SLIP, replace(_SLIP, size_m=0.002, found=False, named=False, in_pair=False, harmless=True, held=False)]
    outcomes = [replace(_outcome(clean=False, number=n), slip=slip) for n, slip in enumerate(slips)]
    found = figures([*outcomes, _outcome(alarm=True), _outcome()], seconds=1.0)
    assert found["false_alarm_jobs"] == 1
    assert found["slips"]["swap"] == {
        "planted": 2, "detectable": 2, "found": 1, "named": 1, "in_a_pair": 1, "detectable_found": 1,
        "too_small_with_effect_below_U": 1, "missed_with_effect_above_U": 0, "held_at_once": 1, "at_once": 0,
        "named_with_the_pair": 2, "wrong_name_conforms": 0,
    }  # fmt: skip
    assert found["slips"]["swap, over 4 mm"]["planted"] == 1


def test_the_text_shows_shares_and_slips() -> None:
    found = figures(
        [_outcome(_result(11.0, 10.0, "conforms")), replace(_outcome(clean=False), slip=_SLIP)], seconds=3.0
    )
    text = words(found)
    assert "2 jobs (1 clean), 12 readings, 3 s; 0.50 s a job" in text
    assert "1.0000  1.000" in text
    assert "swap, over 4 mm" in text


def _in_a_row(places: int, alarms: dict[int, str], *, bent_from: int) -> list[JobOutcome]:
    """Return a row in which ``T1Lh`` is bent from a place on; ``alarms`` are targets by place."""
    made: list[JobOutcome] = []
    for place in range(places):
        one = _outcome(number=place)
        bends = {"T1Lh": 1.0} if place >= bent_from else {}
        draw = replace(one.draw, row=0, place=place, faults=replace(one.draw.faults, bent_mm=bends, settings=2.0))
        said = replace(
            _SAID, target_alarms=frozenset(filter(None, [alarms.get(place)])),
            kind_alarms=frozenset({"hub"} if place >= 2 else ()), factor={"hub": 4.0 if place else 1.0},
        )  # fmt: skip
        made.append(replace(one, draw=draw, settings=said))
    return made


def test_settings_are_shown_by_job_and_bends_by_the_jobs_they_take() -> None:
    found = figures(_in_a_row(4, {0: "T1Rh", 3: "T1Lh"}, bent_from=2), seconds=1.0)
    assert found["settings"]["factor"] == [2.0]
    # the geometric mean of 1, 4, 4, 4; computed by hand
    assert found["settings"]["taken_as"] == {"hub": pytest.approx(2.8284, abs=1e-4)}
    assert found["settings"]["shown_by_job"] == {"hub": [0, 0, 1, 1]}
    assert found["bend"] == {"named_in_job": {"2": 1}, "sound_targets": 1, "sound_targets_alarmed": 1}


def test_vehicles_are_counted_whose_limits_can_be_met() -> None:
    there = Mended(reachable=True, inside=(False, True), decidable=(False, True), moves=(2,), promised=0.9)
    near = replace(there, inside=(False, False), decidable=(False, True))
    beyond = replace(there, reachable=False, inside=(False,), decidable=(False,), moves=())
    found = figures(
        [replace(_outcome(number=n), mended=one) for n, one in enumerate((there, near, beyond))], seconds=1.0
    )
    assert found["mended"] == {
        "jobs": 3, "reachable": 2, "inside": 1, "inside_where_decidable": 2, "promised": 1.8, "rounds": {"1": 2},
    }  # fmt: skip
    assert "mended: 1 of 2 inside all limits" in words(found)
