from __future__ import annotations

from pathlib import Path

import pytest

from axledger.ledger.files import FIRST, copies_beside, current_ledger, earlier_ledger, next_ledger

OURS = ("ledger.db", "ledger-2.db", "ledger-9.db", "ledger-10.db")
COPIES = ("ledger (2).db", "ledger-02.db", "ledger-1.db", "ledger-10 (conflicted).db", "ledger-2.db.db", "ledger-x.db")


def test_an_empty_folder_will_have_the_first(tmp_path: Path) -> None:
    assert current_ledger(tmp_path) == tmp_path / FIRST
    assert copies_beside(tmp_path) == ()


def test_the_highest_number_is_in_use_whatever_is_newest(tmp_path: Path) -> None:
    for name in reversed(OURS):  # the last made is the newest by date
        (tmp_path / name).touch()
    assert current_ledger(tmp_path).name == "ledger-10.db"


def test_copies_are_named_and_never_in_use(tmp_path: Path) -> None:
    for name in (*OURS, *COPIES, "projections.db", "ledger-11.head", "own ledger.db"):
        (tmp_path / name).touch()
    assert current_ledger(tmp_path).name == "ledger-10.db"
    assert copies_beside(tmp_path) == COPIES


def test_copies_alone_are_no_ledger(tmp_path: Path) -> None:
    (tmp_path / "ledger-1.db").touch()
    assert current_ledger(tmp_path).name == FIRST


@pytest.mark.parametrize(
    ("name", "following"),
    [("ledger.db", "ledger-2.db"), ("ledger-2.db", "ledger-3.db"), ("ledger-9.db", "ledger-10.db")],
)
def test_names_lead_on_and_back(tmp_path: Path, name: str, following: str) -> None:
    assert next_ledger(tmp_path / name) == tmp_path / following
    assert earlier_ledger(tmp_path / following) == tmp_path / name


def test_nothing_was_before_the_first(tmp_path: Path) -> None:
    assert earlier_ledger(tmp_path / FIRST) is None
