from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from axledger.job.limits import LimitSheet
from axledger.job.next_steps import next_steps_of
from axledger.job.next_steps_body import finding_body, next_steps_body
from axledger_simulators.planting import PlantedFaults

Make = Callable[..., Any]
FAULTS = PlantedFaults(deviations=0.0, settings=0.0, unevenness=0.0, yaw_deg={"trailer.axle1": 0.075})
BAD = PlantedFaults(deviations=0.0, settings=0.0, unevenness=0.0, yaw_deg={"trailer.axle1": 0.5})


def body_of(bay: Any) -> dict[str, Any]:
    """What JSON carries of it: every number finite, every name a string."""
    body: dict[str, Any] = json.loads(json.dumps(next_steps_body(next_steps_of(bay.fold, asked=True)), allow_nan=False))
    return body


def test_before_the_first_shot_all_names_are_there(make_bay: Make) -> None:
    assert set(body_of(make_bay())) == {
        "findings", "tests", "settings", "proofs", "consequences", "measure_next", "outlooks", "moves", "expected",
        "cannot", "measure_first",
    }  # fmt: skip


def test_what_was_tested_and_what_no_test_can_see_is_said(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(repeats=1, limits=fleet_limits)
    bay.finish()
    tests = body_of(bay)["tests"]
    assert tests["whole"]["passed"] is True
    assert 0.0 <= tests["whole"]["statistic"] <= tests["whole"]["limit"]
    assert set(tests["smallest_visible_si"]) == {shot.id for shot in bay.fold.shots()}
    assert "mirror image" in tests["cannot_see"][0]
    assert tests["false_alarm_per_job"] == next_steps_of(bay.fold).findings.false_alarm


def test_a_shot_that_nothing_checks_has_no_smallest_visible_slip(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.level()
    steps = next_steps_of(bay.fold)
    findings = replace(steps.findings, smallest_visible={"K>T1Lh": math.inf, "K>T1Rh": 0.0075})
    told = next_steps_body(replace(steps, findings=findings))["tests"]["smallest_visible_si"]
    assert told == {"K>T1Lh": None, "K>T1Rh": 0.0075}


def test_a_finding_carries_the_act_that_cures_it(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(repeats=1, limits=fleet_limits)
    bay.work(lambda shot: shot.id != "T1Rh>K")
    bay.shoot(off_m=0.2)
    for number, place in list(bay.fold.board.places.items()):
        if place.state == "held":
            bay.act("accept", reading=number, reason="sure of it")
    bay.finish()
    finding = next_steps_of(bay.fold).suspected[0]
    told = finding_body(finding)
    assert body_of(bay)["findings"][0] == json.loads(json.dumps(told))
    assert told["words"] == finding.words
    assert [rival["slip"] for rival in told["rivals"]] == [rival.slip for rival in finding.rivals]
    bay.act(told["cure"]["act"], **told["cure"]["arguments"])
    bay.finish()
    assert body_of(bay)["findings"] == []


def test_moves_come_with_what_is_expected_of_them_and_whether_they_are_made(
    make_bay: Make, fleet_limits: LimitSheet
) -> None:
    bay = make_bay(repeats=1, limits=fleet_limits, faults=BAD)
    bay.finish()
    body = body_of(bay)
    (move,) = body["moves"]
    assert (move["unit"], move["axle"], move["made"]) == ("trailer", "axle", False)
    assert move["amount_mm"] == abs(move["signed_mm"])
    (expected,) = body["expected"]
    assert abs(expected["after"]) < abs(expected["before"])
    assert expected["verdict"] == "conforms"
    bay.act("moved", adjuster=move["adjuster"], end=move["end"], amount_mm=move["signed_mm"])
    assert [move["made"] for move in body_of(bay)["moves"]] == [True]


def test_advice_comes_with_what_it_helps_and_the_act_that_asks_for_it(make_bay: Make, fleet_limits: LimitSheet) -> None:
    bay = make_bay(repeats=1, limits=fleet_limits, faults=FAULTS)
    bay.finish()
    body = body_of(bay)
    first = body["measure_next"][0]
    helped = first["helps"]["trailer.axle1.squareness"]
    assert 0.0 < helped["u_then"] < helped["u_now"]
    (outlook,) = body["outlooks"]
    assert outlook["key"] == "trailer.axle1.squareness"
    assert outlook["reached"] in (True, False)
    bay.act(first["act"], **first["arguments"])
    assert bay.fold.current().id.startswith(first["shot"])
