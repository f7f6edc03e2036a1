from __future__ import annotations

from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.drawing.figures import Units
from axledger.drawing.whisker import scale_of, whisker_svg, whisker_text


def test_two_limits_take_the_middle_half(make_result: Any) -> None:
    scale = scale_of(make_result(0.0, 1e-3, lower=-0.2, upper=0.2))
    assert scale is not None
    assert scale.share(-0.2) == pytest.approx(0.25)
    assert scale.share(0.2) == pytest.approx(0.75)


def test_one_limit_and_zero_take_the_middle_half(make_result: Any) -> None:
    scale = scale_of(make_result(0.0, 1e-3, upper=0.008))
    assert scale is not None
    assert scale.share(0.0) == pytest.approx(0.25)
    assert scale.share(0.008) == pytest.approx(0.75)


def test_a_single_limit_of_zero_takes_its_width_from_the_uncertainty(make_result: Any) -> None:
    scale = scale_of(make_result(0.0, 1e-3, lower=0.0))
    assert scale is not None
    assert scale.high - scale.low == pytest.approx(0.008)


def test_a_centred_value_is_drawn_in_the_middle(make_result: Any) -> None:
    result = make_result(0.0, 0.025, lower=-0.2, upper=0.2)
    assert whisker_text(result, 17) == "    [··─●─··]    "
    assert whisker_text(result, 17, unicode=False) == "    [..-o-..]    "


def test_without_a_value_only_the_interval_is_drawn(make_result: Any) -> None:
    assert whisker_text(make_result(None, 0.1, lower=-0.2, upper=0.2), 17) == "    [·······]    "
    assert whisker_text(make_result(None, 0.1, upper=0.2), 9) == "······]  "


def test_without_a_limit_nothing_is_drawn(make_result: Any) -> None:
    assert whisker_text(make_result(0.1, 0.1), 9) == " " * 9
    assert whisker_svg(make_result(0.1, 0.1), Units()) == ""


def test_a_value_far_off_is_pointed_at(make_result: Any) -> None:
    assert whisker_text(make_result(5.0, 0.01, lower=-0.2, upper=0.2), 17)[-1] == ">"
    assert whisker_text(make_result(-5.0, 0.01, lower=-0.2, upper=0.2), 17)[0] == "<"


@given(value=st.floats(-0.35, 0.35), u=st.floats(1e-4, 0.2), width=st.integers(9, 40))
def test_the_dot_stands_on_the_side_of_the_limit_where_the_value_is(
    make_result: Any, value: float, u: float, width: int
) -> None:
    drawn = whisker_text(make_result(value, u, lower=-0.2, upper=0.2), width)
    assert len(drawn) == width
    assert drawn.count("●") == 1
    inside = drawn.index("[") < drawn.index("●") < drawn.index("]")
    assert inside == (-0.2 <= value <= 0.2)


@given(value=st.floats(-2, 2), u=st.floats(1e-4, 0.5))
def test_the_drawing_is_well_formed_and_inside_its_frame(make_result: Any, value: float, u: float) -> None:
    svg = ElementTree.fromstring(whisker_svg(make_result(value, u, lower=-0.2, upper=0.2), Units()))
    assert "limits" in str(svg.get("aria-label"))
    for circle in svg.iter("circle"):
        assert 0 <= float(circle.get("cx", "-1")) <= 180
