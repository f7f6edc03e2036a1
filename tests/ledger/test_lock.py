from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.ledger.lock import WriterLock


def test_one_writer_at_a_time(tmp_path: Path) -> None:
    lock = WriterLock(tmp_path)
    with pytest.raises(StorageTrouble) as caught:
        WriterLock(tmp_path)
    assert caught.value.cause is StorageCause.HELD
    assert caught.value.found == f"process {os.getpid()} has the writer lock"
    assert str(tmp_path) in caught.value.what
    assert "nothing was written" in caught.value.kept
    lock.release()
    again = WriterLock(tmp_path)
    again.release()


def test_folders_have_locks_of_their_own(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    one, two = WriterLock(tmp_path / "one"), WriterLock(tmp_path / "two")
    one.release()
    with pytest.raises(StorageTrouble):
        WriterLock(tmp_path / "two")
    two.release()


def test_who_was_refused_leaves_the_name_of_the_holder(tmp_path: Path) -> None:
    lock = WriterLock(tmp_path)
    for _ in range(2):
        with pytest.raises(StorageTrouble, match="holds the data folder") as caught:
            WriterLock(tmp_path)
        assert str(os.getpid()) in caught.value.found
    lock.release()
    assert not (tmp_path / "writer.pid").exists()


@pytest.mark.parametrize("stated", [b"\xff\xfe", b"", b"12 monkeys\n", b"-4\n"])
def test_a_holder_that_states_no_process_is_another_process(tmp_path: Path, stated: bytes) -> None:
    lock = WriterLock(tmp_path)
    (tmp_path / "writer.pid").write_bytes(stated)
    with pytest.raises(StorageTrouble) as caught:
        WriterLock(tmp_path)
    assert caught.value.found == "another process has the writer lock"
    lock.release()


def test_what_a_dead_process_left_is_in_nobodys_way(tmp_path: Path) -> None:
    (tmp_path / "writer.lock").touch()
    (tmp_path / "writer.pid").write_text("1\n", encoding="ascii")
    lock = WriterLock(tmp_path)
    assert (tmp_path / "writer.pid").read_text(encoding="ascii") == f"{os.getpid()}\n"
    lock.release()


def test_the_holder_may_be_unknown_where_its_name_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "writer.pid").mkdir()
    lock = WriterLock(tmp_path)
    with pytest.raises(StorageTrouble) as caught:
        WriterLock(tmp_path)
    assert caught.value.found == "another process has the writer lock"
    lock.release()


def test_another_thread_may_release(tmp_path: Path) -> None:
    lock = WriterLock(tmp_path)
    thread = threading.Thread(target=lock.release)
    thread.start()
    thread.join()
    WriterLock(tmp_path).release()


def test_releasing_twice_takes_nothing_from_the_next_writer(tmp_path: Path) -> None:
    first = WriterLock(tmp_path)
    first.release()
    second = WriterLock(tmp_path)
    first.release()
    with pytest.raises(StorageTrouble) as caught:
        WriterLock(tmp_path)
    assert caught.value.found == f"process {os.getpid()} has the writer lock"
    second.release()
