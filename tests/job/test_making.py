"""Moves told by a person: taken as told, refused where they name what is not there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.contract.errors import BadInput, UnknownName
from axledger.job.making import made_move

Make = Callable[..., Any]


def told(bay: Any, **arguments: Any) -> tuple[Any, str]:
    return made_move(bay.fold, {"act": "moved", **arguments})


def test_a_move_is_kept_with_its_amount_and_its_words(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2")
    made, words = told(bay, adjuster="tractor.drive-shift", end="left", amount_mm=3)
    assert (made.unit, made.axle, made.end, made.amount_m, made.steering) == ("tractor", "D1", "left", 0.003, False)
    assert words.startswith("move the left end of drive axle forward 3.0 mm at the torque rod")
    made, words = told(bay, adjuster="steer-tie-rod", amount_mm=-0.6, words="as advised")
    assert (made.adjuster, made.steering, words) == ("tractor.steer-tie-rod", True, "as advised")


def test_what_was_done_is_taken_also_beyond_the_range(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2")
    bay.act("moved", adjuster="drive-shift", end="left", amount_mm=8.0)
    _, words = told(bay, adjuster="drive-shift", end="left", amount_mm=8.0)
    assert words.endswith("beyond the range that the layout declares")
    _, words = told(bay, adjuster="drive-shift", end="right", amount_mm=8.0)
    assert "beyond" not in words


def test_a_strange_adjuster_is_refused_with_the_known_ones(make_bay: Make) -> None:
    with pytest.raises(UnknownName, match=r"trailer\.axle1-shift"):
        told(make_bay(), adjuster="axle9-shift", amount_mm=1.0)


def test_the_end_must_be_clear(make_bay: Make) -> None:
    with pytest.raises(BadInput, match=r"axle1-shift left, trailer\.axle1-shift right"):
        told(make_bay(), adjuster="axle1-shift", amount_mm=1.0)


@pytest.mark.parametrize("amount", [None, "3", True, float("nan"), float("inf")])
def test_the_amount_must_be_millimetres(make_bay: Make, amount: object) -> None:
    with pytest.raises(BadInput, match="how far"):
        told(make_bay(), adjuster="axle1-shift", end="left", amount_mm=amount)


def test_a_refused_move_is_not_written(make_bay: Make) -> None:
    bay = make_bay()
    before = bay.ledger.head().size
    with pytest.raises(BadInput):
        bay.act("moved", adjuster="axle1-shift", amount_mm=1.0)
    assert bay.ledger.head().size == before
