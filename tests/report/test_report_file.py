from __future__ import annotations

from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.report.report_file import write_report


def test_a_sheet_is_written_and_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "sheet.html"
    write_report(path, "<p>± one</p>\n")
    write_report(path, "<p>two</p>\n")
    assert path.read_bytes() == b"<p>two</p>\n"
    assert [entry.name for entry in tmp_path.iterdir()] == ["sheet.html"]


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageTrouble) as caught:
        write_report(tmp_path / "none" / "sheet.html", "x")
    assert caught.value.cause is StorageCause.ABSENT
    assert "kept" in dict(caught.value.parts())


def test_a_folder_in_the_place_of_the_file_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "sheet.html").mkdir()
    with pytest.raises(StorageTrouble):
        write_report(tmp_path / "sheet.html", "x")
    assert [entry.name for entry in tmp_path.iterdir()] == ["sheet.html"]


def test_a_write_that_fails_half_way_keeps_the_old_sheet(tmp_path: Path, mocker: MockerFixture) -> None:
    path = tmp_path / "sheet.html"
    write_report(path, "old")
    mocker.patch("axledger.report.report_file.os.fsync", side_effect=PermissionError(13, "denied"))
    with pytest.raises(StorageTrouble) as caught:
        write_report(path, "new")
    assert caught.value.cause is StorageCause.READ_ONLY
    assert path.read_text(encoding="utf-8") == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["sheet.html"]
