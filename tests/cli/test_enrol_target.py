from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from axledger.ledger import Ledger

PAIRS = "3412.3/3413.1 3412.0/3412.9; 3412.6/3413,0"


def test_a_target_is_enrolled_from_its_pairs(home: Path, done_json: Callable[..., Any]) -> None:
    told = done_json("enrol", "hub-1L", "--target", "hub", "--pairs", PAIRS, "--person", "Ada")
    # by hand: mean of 0.40, 0.45, 0.20
    assert told["bias_mm"] == pytest.approx(0.35)
    assert (told["seq"], told["mark"], told["target"], told["side"]) == (1, "hub-1L", "hub", "L")
    assert told["pairs"] == [[3412.3, 3413.1], [3412.0, 3412.9], [3412.6, 3413.0]]
    with Ledger.read(home) as ledger:
        (entry,) = ledger.entries()
    assert (entry.kind, entry.body["person"], entry.body["mark"]) == ("target", "Ada", "hub-1L")


def test_targets_are_listed_by_kind(done: Callable[..., str], done_json: Callable[..., Any]) -> None:
    done("enrol", "hub-1", "--target", "hub", "--pairs", PAIRS, "--side", "R")
    done("enrol", "hub-2L", "--target", "hub", "--pairs", PAIRS)
    assert (
        done("enrol", "--target", "hub")
        .splitlines()[0]
        .startswith("hub-1: hub target, bias +0.35 mm forward on the right (u 0.1")
    )
    assert [one["mark"] for one in done_json("enrol", "--target", "hub")] == ["hub-1", "hub-2L"]
    assert done_json("enrol", "--target", "straightedge") == []
    assert done_json("enrol") == []  # the list of instruments stays what it was


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("hub-1L", "--target", "hub"), "no --pairs"),
        (("hub-1L", "--target", "hub", "--pairs", "3412.3"), "3412.3, without a slash"),
        (("hub-1L", "--target", "hub", "--pairs", "3412.3/x"), "3412.3/x"),
        (("hub-1", "--target", "hub", "--pairs", PAIRS), "'hub-1'"),
        (("hub-1L", "--target", "hub", "--pairs", "3412.3/3412.9"), "1"),
    ],
)
def test_what_cannot_be_enrolled_is_said_in_four_parts(
    words: tuple[str, ...], found: str, fails: Callable[..., str]
) -> None:
    told = fails(2, "enrol", *words)
    assert f"found: {found}" in told
    assert "allowed: " in told
    assert "do: " in told
