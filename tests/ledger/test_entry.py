from __future__ import annotations

from dataclasses import FrozenInstanceError
from pathlib import Path
from typing import Any

import pytest

from axledger.ledger import Ledger
from axledger.ledger.entry import Entry, TreeHead


def test_an_entry_is_never_changed() -> None:
    entry = Entry(seq=1, kind="arrival", job=None, body={"kind": "arrival"})
    for name in ("seq", "kind", "job", "body"):
        with pytest.raises(FrozenInstanceError):
            setattr(entry, name, None)
    assert entry == Entry(seq=1, kind="arrival", job=None, body={"kind": "arrival"})
    assert entry != Entry(seq=2, kind="arrival", job=None, body={"kind": "arrival"})


def test_an_entry_has_no_room_for_more_and_its_fields_are_named() -> None:
    entry: Any = Entry(seq=1, kind="arrival", job=None, body={})
    assert not hasattr(entry, "__dict__")
    with pytest.raises(TypeError):
        Entry(1, "arrival", None, {})  # type: ignore[call-arg]  # pyright: ignore[reportCallIssue]


def test_kind_and_job_repeat_the_body(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([{"kind": "arrival", "job": "a"}, {"kind": "layout"}, {"kind": "act", "job": "b"}])
        entries = list(ledger.entries())
    assert [(entry.kind, entry.job) for entry in entries] == [("arrival", "a"), ("layout", None), ("act", "b")]
    assert all((entry.body["kind"], entry.body.get("job")) == (entry.kind, entry.job) for entry in entries)


def test_heads_are_compared_by_size_and_root() -> None:
    head = TreeHead(3, "ab" * 32)
    assert {head: "printed"}[TreeHead(3, "ab" * 32)] == "printed"
    assert head != TreeHead(4, "ab" * 32)
    assert head != TreeHead(3, "ac" * 32)
