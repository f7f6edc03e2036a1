from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from axledger.contract.errors import Refused
from axledger.job.statements import forecast_body, result_body, results_of, statement_body, versions
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
    assert body["u95"] == pytest.approx(2 * math.degrees(result.u))
    assert body["upper"] == pytest.approx(math.degrees(result.upper))
    assert set(body) == {
        "key", "name", "against", "unit", "value", "u95", "lower", "upper", "verdict", "probability", "round",
    }  # fmt: skip
    forecast = forecast_body(result)
    assert forecast["u95"] == pytest.approx(2 * math.degrees(result.forecast_u))
    assert forecast["determined"]
