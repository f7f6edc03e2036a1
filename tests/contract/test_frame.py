from __future__ import annotations

from dataclasses import FrozenInstanceError, fields
from typing import Any, get_args

import pytest

from axledger.contract.frame import (
    DeviceFault,
    Echo,
    Frame,
    Measured,
    Outcome,
    Quality,
    QualityDirection,
    Status,
    StatusKind,
    Unreadable,
    Value,
)
from axledger.contract.quantity import Quantity

BIG, SMALL = QualityDirection.BIG_IS_GOOD, QualityDirection.SMALL_IS_GOOD
LENGTH = Value(quantity=Quantity.LENGTH, si=4.318, text="4.318", unit="m", resolution_si=0.001)
TILT = Value(quantity=Quantity.INCLINATION, si=0.0217, text="1.24", unit="deg", resolution_si=0.000175)
OUTCOMES: list[Outcome] = [
    Measured(values=(LENGTH,)),
    DeviceFault("E04", "too dark"),
    Status(StatusKind.BANNER, "ready"),
    Echo(b"D"),
    Unreadable("no line of the profile fits"),
]


@pytest.mark.parametrize(
    ("figure", "direction", "limit", "doubtful"),
    [
        (39.9, BIG, 40.0, True),
        (40.0, BIG, 40.0, False),  # the limit itself still lies on the good side, whichever that is
        (40.1, BIG, 40.0, False),
        (39.9, SMALL, 40.0, False),
        (40.0, SMALL, 40.0, False),
        (40.1, SMALL, 40.0, True),
        (-1e9, BIG, None, False),
        (1e9, SMALL, None, False),
        (0.0, BIG, 0.0, False),  # a limit of zero is a limit
        (-0.5, BIG, 0.0, True),
        (0.5, SMALL, 0.0, True),
    ],
)
def test_a_figure_on_the_wrong_side_of_its_limit_is_doubtful(
    figure: float, direction: QualityDirection, limit: float | None, doubtful: bool
) -> None:
    assert Quality(figure, direction, limit).doubtful is doubtful


def test_without_a_limit_nothing_is_judged() -> None:
    assert Quality(0.0, BIG).limit is None


def test_a_value_is_found_by_its_quantity() -> None:
    measured = Measured(values=(LENGTH, TILT))
    assert measured.value(Quantity.LENGTH) is LENGTH
    assert measured.value(Quantity.INCLINATION) is TILT
    assert measured.value(Quantity.TEMPERATURE) is None
    assert Measured(values=()).value(Quantity.LENGTH) is None


def test_what_a_device_does_not_say_is_not_made_up() -> None:
    measured = Measured(values=(LENGTH,))
    assert measured.quality is None
    assert measured.counter is None
    assert measured.held is False


def test_every_outcome_has_an_example_here() -> None:
    assert {type(outcome) for outcome in OUTCOMES} == set(get_args(Outcome))


@pytest.mark.parametrize("outcome", OUTCOMES, ids=lambda outcome: type(outcome).__name__)
def test_frames_and_outcomes_are_never_changed(outcome: Outcome) -> None:
    frame = Frame(raw=b"4.318m\r", at_ns=7, outcome=outcome)
    things: list[Any] = [frame, outcome]
    for thing in things:
        assert not hasattr(thing, "__dict__")
        for field in fields(thing):
            with pytest.raises(FrozenInstanceError):
                setattr(thing, field.name, None)
    assert frame == Frame(raw=b"4.318m\r", at_ns=7, outcome=outcome)
    assert len({frame, Frame(raw=b"4.318m\r", at_ns=8, outcome=outcome), frame}) == 2


def test_a_frame_differs_by_each_of_its_parts() -> None:
    frame = Frame(raw=b"4.318m\r", at_ns=7, outcome=OUTCOMES[0])
    assert frame != Frame(raw=b"4.318m\n", at_ns=7, outcome=OUTCOMES[0])
    assert frame != Frame(raw=b"4.318m\r", at_ns=7, outcome=Measured(values=(LENGTH,), held=True))


def test_words_in_profiles_name_directions_and_kinds() -> None:
    """Profiles are files of users: a word that changes here breaks them."""
    assert [direction.value for direction in QualityDirection] == ["big is good", "small is good"]
    assert {kind.value for kind in StatusKind} == {
        "acknowledgement", "banner", "battery", "temperature", "restatement", "log", "blank", "other",
    }  # fmt: skip
