from __future__ import annotations

import re
from xml.etree import ElementTree

from axledger.drawing.plan_svg import plan_svg
from axledger.job.layout import Layout, Unit, stations_of
from axledger.job.plan import plan_shots


def test_the_plan_is_well_formed_and_names_every_station(unit: Unit) -> None:
    svg = ElementTree.fromstring(plan_svg(unit))
    words = [text.text for text in svg.iter("text")]
    assert {station.name for station in stations_of(unit)} <= set(words)
    assert {axle.name for axle in unit.axle} <= set(words)
    assert "front" in words
    assert len(list(svg.iter("circle"))) == len(stations_of(unit))


def test_left_is_above_right_and_front_at_the_right(unit: Unit) -> None:
    svg = ElementTree.fromstring(plan_svg(unit))
    at = {text.text: (float(text.get("x", "0")), float(text.get("y", "0"))) for text in svg.iter("text")}
    hub = f"{unit.axle[-1].code}"
    assert at[f"{hub}Lh"][1] < at[f"{hub}Rh"][1]
    assert at["rear"][0] < at["front"][0]


def test_a_shot_is_a_line_from_a_to_b_with_no_numbers(unit: Unit) -> None:
    layout = Layout.model_validate({"schema": 1, "name": "one-unit", "title": "t", "source": "s", "unit": [unit]})
    shot = next(shot for shot in plan_shots(layout) if shot.kind == "distance")
    with_shot, without = plan_svg(unit, shot=shot, names=False), plan_svg(unit, names=False)
    words = [text.text or "" for text in ElementTree.fromstring(with_shot).iter("text")]
    assert words[-2:] == ["A", "B"]
    assert "stroke-dasharray" in with_shot
    assert "stroke-dasharray" not in without


def test_hostile_names_stay_text(unit: Unit) -> None:
    axles = tuple(axle.model_copy(update={"name": '<script>alert("x")</script>\x1b'}) for axle in unit.axle)
    drawn = plan_svg(unit.model_copy(update={"axle": axles, "name": '"><img src=x>'}))
    svg = ElementTree.fromstring(drawn)
    assert not list(svg.iter("script")) + list(svg.iter("img"))
    assert not re.search(r"[\x00-\x08\x1b]", drawn)
