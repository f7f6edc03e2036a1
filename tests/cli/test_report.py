from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from axledger.contract.errors import StorageTrouble
from axledger.ledger import Ledger


@pytest.mark.usefixtures("worked")
def test_the_sheet_of_the_newest_job_goes_to_the_data_folder(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any]
) -> None:
    found = done_json("report")
    path = home / "reports" / "demo-4-1.html"
    assert found["report"] == str(path)
    with Ledger.read(home) as ledger:
        head = ledger.head()
    assert found["ledger"] == {"entries": head.size, "head": head.root}
    html = path.read_text(encoding="utf-8")
    assert "demo-4-1" in html
    assert head.root in html
    assert not re.findall(r"(?:src|href)\s*=\s*[\"'](?!#)", html)  # self-contained: nothing is fetched
    assert done("report", "demo-4-1").splitlines() == [str(path), f"ledger head: {head.size} {head.root}"]


@pytest.mark.usefixtures("worked")
def test_another_place_may_be_named(tmp_path: Path, done: Callable[..., str]) -> None:
    path = tmp_path / "deep" / "sheet.html"
    done("report", "--out", str(path))
    assert path.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.usefixtures("worked")
def test_a_place_that_cannot_be_written_is_told_and_nothing_is_left(tmp_path: Path, fails: Callable[..., str]) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    err = fails(3, "report", "--out", str(tmp_path / "file" / "sheet.html"))
    assert "the job and all its readings are in the ledger" in err
    assert (tmp_path / "file").read_text(encoding="utf-8") == "in the way"


@pytest.mark.usefixtures("worked")
def test_an_unknown_job_is_refused(fails: Callable[..., str]) -> None:
    assert "no job is called 'demo-9'" in fails(2, "report", "demo-9")


def test_without_a_ledger_there_is_no_sheet(fails: Callable[..., str], home: Path) -> None:
    fails(3, "report")
    assert not home.exists()
    with pytest.raises(StorageTrouble):
        Ledger.read(home)
