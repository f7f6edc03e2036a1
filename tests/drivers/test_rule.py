from __future__ import annotations

from typing import Any

from axledger.contract.frame import DeviceFault, Measured, Status, Unreadable
from axledger.contract.profile import Profile
from axledger_drivers.decoders.rule import RuleBook

LENGTH = {"group": "n", "quantity": "length", "unit": "mm"}
TILT = {"group": "t", "quantity": "inclination", "unit": "deg"}


def book(*lines: dict[str, Any]) -> RuleBook:
    return RuleBook(
        Profile.model_validate(
            {"schema": 1, "name": "of-this-test", "title": "ours", "transports": ["recorded"], "line": list(lines)}
        )
    )


def test_the_whole_line_counts() -> None:
    rules = book({"kind": "measured", "pattern": r"(?P<n>\d+) mm", "value": [LENGTH]})
    assert isinstance(rules.read(b"4318 mm"), Measured)
    assert [rules.read(body) for body in (b"4318 mm x", b"x4318 mm", b"4318 mm\n", b"")] == [None] * 4
    assert rules.matches(b"4318 mm")
    assert not rules.matches(b"4318")


def test_counter_quality_and_missing_parts() -> None:
    rules = book(
        {
            "kind": "measured",
            "pattern": r"(?P<k>\d+ )?(?P<n>\d+)?(?:,(?P<q>.*))?",
            "value": [LENGTH],
            "counter": "k",
            "quality": {"group": "q", "direction": "big is good"},
        }
    )
    whole = rules.read(b"12 4318,7.5")
    assert isinstance(whole, Measured)
    assert whole.counter == "12"
    assert whole.quality is not None
    assert whole.quality.figure == 7.5
    assert isinstance(without := rules.read(b"4318"), Measured)
    assert (without.counter, without.quality) == (None, None)
    assert isinstance(rules.read(b"4318,nan"), Unreadable)
    assert isinstance(rules.read(b"12 "), Unreadable)


def test_reserved_value_leaves_the_other_quantity_usable() -> None:
    rules = book(
        {"kind": "measured", "pattern": r"(?P<n>\d+) (?P<t>[\d.]+)", "value": [LENGTH | {"reserved": ["9999"]}, TILT]}
    )
    assert isinstance(outcome := rules.read(b"9999 1.27"), Measured)
    assert [value.text for value in outcome.values] == ["1.27"]


def test_fault_words() -> None:
    rules = book({"kind": "fault", "pattern": r"E(?P<c>\d+)", "code": "c", "words": {"7": "moved"}, "otherwise": "?"})
    assert rules.read(b"E7") == DeviceFault("7", "moved")
    assert rules.read(b"E99") == DeviceFault("99", "?")


def test_status_values_must_be_numbers() -> None:
    field = {"group": "t", "quantity": "temperature", "unit": "degC"}
    rules = book({"kind": "status", "pattern": r"T(?P<t>.*)", "status": "temperature", "value": [field]})
    assert isinstance(outcome := rules.read(b"T24.5"), Status)
    assert outcome.values[0].si == 24.5
    assert isinstance(rules.read(b"Tx"), Unreadable)


def test_check_that_is_missing_or_no_hex() -> None:
    check = {"kind": "xor", "group": "c", "covers": "b"}
    line = {"kind": "measured", "pattern": r"(?P<b>(?P<n>\d+))(?:\*(?P<c>..))?", "value": [LENGTH], "check": check}
    assert isinstance(missing := book(line).read(b"12"), Unreadable)
    assert "missing" in missing.why
    assert isinstance(no_hex := book(line).read(b"12*zz"), Unreadable)
    assert "hex" in no_hex.why
    over_hex = line | {"check": check | {"over": "hex"}}
    assert isinstance(book(over_hex).read(b"12*12"), Measured)
    assert isinstance(odd := book(over_hex).read(b"123*12"), Unreadable)
    assert "pairs" in odd.why
