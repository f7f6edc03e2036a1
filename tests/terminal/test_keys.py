from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.errors import BadInput, UnknownName
from axledger.job.acts import ACTS
from axledger.job.preparation import PREPARATION
from axledger.terminal.keys import COMMANDS, KEYS, Presses, Wish, key_help, parse_command, wish_of_key


@pytest.mark.parametrize(
    ("line", "act", "arguments"),
    [
        ("undo", "undo", {}),
        ("skip", "skip", {}),
        ("blocked F0L>S1Rf", "blocked", {"shot": "F0L>S1Rf"}),
        ("go D1Lh>S1Lh#2", "go", {"shot": "D1Lh>S1Lh#2"}),
        ("tick chocks tyres", "tick", {"items": ["chocks", "tyres"]}),
        ("tick all", "tick", {"items": [item.id for item in PREPARATION]}),
        ("move 3 F0L>S1Rf", "move", {"reading": 3, "shot": "F0L>S1Rf"}),
        ("accept", "accept", {}),
        ("accept 4", "accept", {"reading": 4}),
        ("accept 4 F0L>S1Rf", "accept", {"reading": 4, "shot": "F0L>S1Rf"}),
        ("aside 2 hand shook", "aside", {"reading": 2, "reason": "hand shook"}),
        ("note  left spring  broken", "note", {"words": "left spring broken"}),
        ("moved 2 mm shim", "moved", {"words": "2 mm shim"}),
        ("moved all bolts tightened", "moved", {"words": "all bolts tightened"}),
        ("moved 1", "moved", {"advised": 1}),
        ("moved 2 3,4", "moved", {"advised": 2, "amount_mm": 3.4}),
        ("moved 2 -3.4 mm", "moved", {"advised": 2, "amount_mm": -3.4}),
        ("moved all", "moved", {"advised": "all"}),
        ("more 2", "more", {"advised": 2}),
        ("more K>T1Lh K>T1Rh", "more", {"shots": ["K>T1Lh", "K>T1Rh"]}),
        ("more K>T1Lh turn T1Lh x3", "more", {"shots": ["K>T1Lh"], "turn": ["T1Lh"], "readings": 3}),
        ("more K>T1Lh x3 turn T1Lh", "more", {"shots": ["K>T1Lh"], "turn": ["T1Lh"], "readings": 3}),
        ("cure", "cure", {}),
        ("y", "cure", {}),
        ("I", "advice", {}),
        ("?", "help", {}),
        ("round full", "round", {"full": True, "note": "everything measured again"}),
        ("round full after a crash", "round", {"full": True, "note": "after a crash"}),
        ("round after shims", "round", {"note": "after shims"}),
        ("NOT-TURNED", "not-turned", {}),
    ],
)
def test_a_line_becomes_an_act_with_its_arguments(line: str, act: str, arguments: dict[str, Any]) -> None:
    assert parse_command(line) == Wish(act, arguments)


@pytest.mark.parametrize("line", ["", "   \n", "# a remark"])
def test_empty_lines_and_remarks_ask_for_nothing(line: str) -> None:
    assert parse_command(line) is None


@pytest.mark.parametrize(
    "line",
    ["undo twice", "skip A B", "go", "tick", "move 3", "move x F0L>S1Rf", "move ² A", "accept 0", "accept 1 A B",
     "aside", "note", "tick wheels", "jump", "close now", "moved", "moved 0", "moved 1 far", "moved 1 1e9",
     "moved 2 mm", "more", "more 0", "more turn T1Lh", "more K>T1Lh turn", "more x2", "more K>T1Lh x0", "cure now",
     "advice 1", "k"],
)  # fmt: skip
def test_a_line_that_does_not_fit_is_refused_with_four_parts(line: str) -> None:
    with pytest.raises((BadInput, UnknownName)) as caught:
        parse_command(line)
    assert {"what", "found", "allowed", "do"} <= {label for label, _ in caught.value.parts()}


@given(st.text())
def test_any_line_is_understood_or_refused_and_never_breaks(line: str) -> None:
    try:
        wish = parse_command(line)
    except BadInput:
        return
    assert wish is None or wish.act in COMMANDS


def test_every_act_of_the_job_has_a_command_and_every_key_an_act() -> None:
    assert set(ACTS) <= set(COMMANDS)
    assert {act for act, _ in KEYS.values()} <= set(COMMANDS)


def test_keys_ask_for_acts() -> None:
    assert wish_of_key("\r") == wish_of_key("n") == wish_of_key("N") == Wish("turned")
    assert wish_of_key("p") == Wish("tick", {"items": [item.id for item in PREPARATION]})
    assert wish_of_key("%") is None
    assert len(key_help()) == len({act for act, _ in KEYS.values()})


def test_a_key_pressed_twice_within_the_gap_counts_once() -> None:
    presses = Presses()
    assert presses.counts("n", 0)
    assert not presses.counts("n", 150_000_000)
    assert presses.counts("u", 150_000_000)
    assert presses.counts("n", 600_000_000)
