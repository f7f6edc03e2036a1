from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from axledger.contract.errors import Refused
from axledger.contract.quantity import Quantity
from axledger.job.statements import forecast_body, result_body, results_of, settings_body, statement_body, versions
from axledger.job.tally import PARTS

Make = Callable[..., Any]


def test_a_statement_says_what_it_rests_on(make_bay: Make, fleet_limits: Any) -> None:
    bay = make_bay(limits=fleet_limits)
    bay.finish()
    bay.act("tick", items=["chocks"])
    before = bay.ledger.head()
    bay.run.close_job()
    (_, body) = bay.fold.statements[0]
    assert body["head"] == {"size": before.size, "root": before.root}
    assert body["versions"] == versions()
    assert body["rule"] == fleet_limits.decision_rule.value
    assert body["counts"]["received"] == sum(body["counts"][part] for part in PARTS) == 16
    assert body["open"] == []
    assert "chocks" not in body["unticked"]
    assert "play" in body["unticked"]
    assert body["contradictory_rounds"] == []
    assert body["results"] == results_of(bay.fold)
    with pytest.raises(Refused):
        statement_body(bay.fold, before, person="Ada", stamp=bay.clock.now())


def test_every_round_is_stated(make_bay: Make) -> None:
    bay = make_bay(repeats=1)
    bay.finish()
    bay.act("round")
    bay.finish()
    stated = results_of(bay.fold)
    assert [(body["key"], body["round"]) for body in stated] == [("trailer.axle1.squareness", n) for n in (1, 2)]
    assert all(body["value"] is not None for body in stated)


def test_results_depend_on_the_readings_alone(make_bay: Make) -> None:
    """The same readings by another road (undone, taken again, in two sittings) state the same bits."""
    straight, winding = make_bay(repeats=1), make_bay(repeats=1)
    straight.finish()
    for number in range(8):
        winding.shoot()
        if number % 3 == 0:
            winding.act("undo")
            winding.act("accept", reading=len(winding.fold.readings))
        if number == 4:
            winding.restart()
            winding.plug_in()
    assert results_of(winding.fold) == results_of(straight.fold)


def test_results_are_in_display_units(make_bay: Make, fleet_limits: Any) -> None:
    bay = make_bay(limits=fleet_limits)
    undetermined = result_body(bay.fold.solution().results[0], 1)
    assert (undetermined["value"], undetermined["u95"], undetermined["verdict"]) == (None, None, "not determined")
    bay.finish()
    result = bay.fold.solution().results[0]
    body = result_body(result, 1)
    assert body["value"] == pytest.approx(math.degrees(result.value))
    assert body["u95"] == pytest.approx(math.degrees(result.u95))
    assert body["high"] - body["low"] == pytest.approx(2 * body["u95"])
    assert body["low"] < body["value"] < body["high"]
    assert sum(body["shares"].values()) == pytest.approx(1.0)
    assert body["upper"] == pytest.approx(math.degrees(result.upper))
    assert set(body) == {
        "key", "name", "against", "unit", "value", "u", "u95", "low", "high", "lower", "upper", "verdict",
        "probability", "shares", "round",
    }  # fmt: skip
    forecast = forecast_body(result)
    assert forecast["u95"] == pytest.approx(math.degrees(result.forecast_u95))
    assert forecast["determined"]


def test_a_statement_says_what_was_learned_of_the_settings(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-1axle")
    assert settings_body(bay.fold) == {}
    bay.finish()
    bay.run.close_job()
    (_, body) = bay.fold.statements[0]
    assert body["settings"] == settings_body(bay.fold)
    hub = body["settings"]["kinds"]["hub"]
    assert sum(hub["weights"]) == pytest.approx(1.0)
    assert hub["carried"] == pytest.approx([0.08, 0.26, 0.26, 0.22, 0.12, 0.06])  # the first weights
    target = body["settings"]["targets"]["hub-1L"]
    assert (target["place"], target["target"], target["side"]) == ("T1Lh", "hub", "L")
    assert 0.0 < target["u_mm"] < target["half_u_mm"]
    assert body["settings"]["gate"] == {"statistic": 0.0, "freedom": 0, "fits": True}


def test_a_contradictory_job_teaches_nothing_of_its_settings(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-1axle", repeats=1)
    bay.level()
    bay.shoot()
    bay.finish()
    last = bay.fold.every_shot()[-1]
    (number,) = bay.fold.board.accepted(last.id)
    reading = bay.fold.readings[number]
    value, text, unit = reading.values[Quantity.LENGTH]
    bay.fold.readings[number] = replace(reading, values={Quantity.LENGTH: (value + 0.2, text, unit)})
    assert settings_body(bay.fold) == {}
