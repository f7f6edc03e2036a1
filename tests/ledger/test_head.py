from __future__ import annotations

import errno
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from axledger.ledger.entry import TreeHead
from axledger.ledger.head import head_path, read_head_file, write_head_file

HEAD = TreeHead(7, "0123456789abcdef" * 4)


@pytest.mark.parametrize(("name", "head_name"), [("ledger.db", "ledger.head"), ("ledger-2.db", "ledger-2.head")])
def test_every_ledger_has_a_head_file_of_its_own(tmp_path: Path, name: str, head_name: str) -> None:
    assert head_path(tmp_path / name) == tmp_path / head_name


def test_what_is_written_is_read(path: Path) -> None:
    assert read_head_file(path) is None
    before = datetime.now(UTC).replace(microsecond=0)
    write_head_file(path, HEAD)
    assert read_head_file(path) == HEAD
    stated = json.loads(head_path(path).read_text(encoding="utf-8"))
    assert (stated["size"], stated["root"]) == (HEAD.size, HEAD.root)
    assert before <= datetime.fromisoformat(stated["utc"]) <= datetime.now(UTC)


def test_a_later_head_takes_the_place_of_the_earlier(path: Path) -> None:
    write_head_file(path, HEAD)
    later = TreeHead(8, "f" * 64)
    write_head_file(path, later)
    assert read_head_file(path) == later
    assert [file.name for file in path.parent.iterdir()] == [head_path(path).name]


def test_a_full_disk_leaves_the_earlier_head(path: Path, mocker: MockerFixture) -> None:
    write_head_file(path, HEAD)
    mocker.patch("axledger.ledger.head.os.fsync", side_effect=OSError(errno.ENOSPC, "no space left"))
    with pytest.raises(OSError, match="no space left"):
        write_head_file(path, TreeHead(8, "f" * 64))
    mocker.stopall()
    assert read_head_file(path) == HEAD
    write_head_file(path, TreeHead(9, "e" * 64))  # what was left half written is in nobody's way
    assert read_head_file(path) == TreeHead(9, "e" * 64)


def test_a_head_of_the_empty_ledger_is_a_head(path: Path) -> None:
    write_head_file(path, TreeHead(0, HEAD.root))
    assert read_head_file(path) == TreeHead(0, HEAD.root)


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"null",
        b"[7]",
        b"\xff",
        b"[" * 9000,
        json.dumps({"size": 7}).encode(),
        json.dumps({"root": HEAD.root}).encode(),
        json.dumps({"size": -1, "root": HEAD.root}).encode(),
        json.dumps({"size": True, "root": HEAD.root}).encode(),
        json.dumps({"size": 7.0, "root": HEAD.root}).encode(),
        json.dumps({"size": "7", "root": HEAD.root}).encode(),
        json.dumps({"size": 7, "root": HEAD.root[:-1]}).encode(),
        json.dumps({"size": 7, "root": HEAD.root + "0"}).encode(),
        json.dumps({"size": 7, "root": "z" * 64}).encode(),
        json.dumps({"size": 7, "root": HEAD.root.upper()}).encode(),
        b'{"size": ' + b"9" * 5000 + b', "root": "' + HEAD.root.encode() + b'"}',
    ],
    ids=lambda text: text[:50].decode("ascii", "replace"),
)
def test_what_states_no_head_is_refused(path: Path, text: bytes) -> None:
    head_path(path).write_bytes(text)
    with pytest.raises(ValueError):  # noqa: PT011 - some words come from the standard library
        read_head_file(path)


def test_a_head_file_that_cannot_be_read_is_no_missing_one(path: Path) -> None:
    head_path(path).mkdir()
    with pytest.raises(OSError):  # noqa: PT011 - the system's words
        read_head_file(path)
