from __future__ import annotations

import json
import math
from typing import Any

import pytest
from pydantic import ValidationError

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity

LENGTH: dict[str, Any] = {"repeatability": 0.0007, "resolution": 0.001, "u_zero": 0.001}
GOOD: dict[str, Any] = {
    "name": "meter-a",
    "profile": "metre-line",
    "address": "serial://port",
    "quantities": {"length": LENGTH},
}


def test_what_is_not_said_of_an_instrument() -> None:
    instrument = Instrument.model_validate(GOOD)
    assert (instrument.serial, instrument.identity, instrument.note) == ("", {}, "")
    assert instrument.last_check is None
    assert instrument.state == "in use"
    length = instrument.quantities[Quantity.LENGTH]
    assert (length.zero, length.scale, length.u_scale) == (0.0, 0.0, 0.0)


def test_a_record_comes_back_from_the_ledger_as_it_went_in() -> None:
    instrument = Instrument(
        name="both-1", serial="A-17", profile="metre-tilt", address="gatt:own", identity={"name": "own"},
        quantities={
            Quantity.LENGTH: QuantityRecord(
                repeatability=0.0007, resolution=0.001, zero=-0.0004, u_zero=0.001, scale=1e-5, u_scale=2e-5
            ),
            Quantity.INCLINATION: QuantityRecord(
                repeatability=math.radians(0.02), resolution=math.radians(0.01), u_zero=math.radians(0.05)
            ),
        },
        last_check="2026-01-05", state="quarantined", note="dropped",
    )  # fmt: skip
    stored = json.dumps(instrument.model_dump(mode="json"))
    assert set(json.loads(stored)["quantities"]) == {"length", "inclination"}
    assert Instrument.model_validate(json.loads(stored)) == instrument


@pytest.mark.parametrize("name", ["a", "A", "7", "meter-a", "meter_a.2", "m" + "x" * 40])
def test_names_that_can_be_used(name: str) -> None:
    assert Instrument.model_validate({**GOOD, "name": name}).name == name


@pytest.mark.parametrize(
    ("place", "change"),
    [
        ("name", {"name": ""}),
        ("name", {"name": "-a"}),
        ("name", {"name": "meter a"}),
        ("name", {"name": "../a"}),
        ("name", {"name": "a\n"}),
        ("name", {"name": "mètre"}),
        ("name", {"name": "m" + "x" * 41}),
        ("state", {"state": "lent"}),
        ("profile", {"profile": None}),
        ("quantities", {"quantities": {"weight": LENGTH}}),
        ("offset", {"offset": 0.1}),
        ("identity", {"identity": {"port": 5}}),
    ],
)
def test_a_bad_record_is_refused_at_its_place(place: str, change: dict[str, Any]) -> None:
    with pytest.raises(ValidationError) as caught:
        Instrument.model_validate({**GOOD, **change})
    (fault,) = caught.value.errors()
    assert fault["loc"][0] == place


@pytest.mark.parametrize("missing", ["name", "profile", "address", "quantities"])
def test_what_every_record_must_say(missing: str) -> None:
    with pytest.raises(ValidationError) as caught:
        Instrument.model_validate({key: value for key, value in GOOD.items() if key != missing})
    assert [(fault["type"], fault["loc"]) for fault in caught.value.errors()] == [("missing", (missing,))]


@pytest.mark.parametrize(
    ("field", "number"),
    [
        ("repeatability", 0.0),
        ("repeatability", -0.001),
        ("resolution", -0.001),
        ("u_zero", -0.001),
        ("u_scale", -1e-6),
        *((field, number)
          for field in ("repeatability", "resolution", "zero", "u_zero", "scale", "u_scale")
          for number in (math.nan, math.inf, -math.inf)),
    ],
)  # fmt: skip
def test_numbers_nothing_can_be_computed_from_are_refused(field: str, number: float) -> None:
    with pytest.raises(ValidationError) as caught:
        QuantityRecord.model_validate({**LENGTH, field: number})
    assert {fault["loc"] for fault in caught.value.errors()} == {(field,)}


def test_a_device_without_a_display_step_and_with_a_negative_zero_is_fine() -> None:
    record = QuantityRecord(repeatability=1e-9, resolution=0.0, zero=-0.01, u_zero=0.0, scale=-1e-4)
    assert (record.resolution, record.zero, record.u_zero, record.scale) == (0.0, -0.01, 0.0, -1e-4)


@pytest.mark.parametrize("missing", ["repeatability", "resolution", "u_zero"])
def test_uncertainty_is_never_taken_for_granted(missing: str) -> None:
    with pytest.raises(ValidationError, match=missing):
        QuantityRecord.model_validate({key: value for key, value in LENGTH.items() if key != missing})


def test_records_are_never_changed() -> None:
    instrument = Instrument.model_validate(GOOD)
    with pytest.raises(ValidationError, match="frozen"):
        instrument.state = "retired"  # pyright: ignore[reportAttributeAccessIssue]
    with pytest.raises(ValidationError, match="frozen"):
        instrument.quantities[Quantity.LENGTH].zero = 1.0  # pyright: ignore[reportAttributeAccessIssue]
    retired = instrument.model_copy(update={"state": "retired"})
    assert (instrument.state, retired.state) == ("in use", "retired")


def test_instruments_share_no_identity() -> None:
    first, second = Instrument.model_validate(GOOD), Instrument.model_validate(GOOD)
    assert first == second
    assert first.identity is not second.identity
