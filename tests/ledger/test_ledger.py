from __future__ import annotations

import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from axledger.contract.errors import BadInput, Refused, StorageCause, StorageTrouble
from axledger.ledger import Entry, JsonValue, Ledger, TreeHead, verify_folder
from axledger.ledger.head import head_path, read_head_file
from axledger.ledger.merkle import EMPTY_ROOT, leaf_hash, verify_consistency, verify_inclusion
from axledger.ledger.writer import HEAD_EVERY


def body(number: int, *, job: str | None = None, kind: str = "arrival") -> dict[str, JsonValue]:
    made: dict[str, JsonValue] = {"kind": kind, "number": number, "raw": f"{number:08x}"}
    return made if job is None else {**made, "job": job}


def leaf_of(ledger: Ledger, seq: int) -> bytes:
    connection = sqlite3.connect(ledger.path)
    (text,) = connection.execute("SELECT body FROM entries WHERE seq = ?", (seq,)).fetchone()
    connection.close()
    return leaf_hash(text.encode())


class OpenedUp(Ledger):
    """A ledger whose writing connection the tests may limit."""

    def writing_connection(self) -> sqlite3.Connection:
        assert self._writer is not None
        return self._writer.connection


def test_a_new_ledger_is_empty(tmp_path: Path) -> None:
    folder = tmp_path / "made" / "here"
    with Ledger.open(folder) as ledger:
        assert ledger.folder == folder
        assert ledger.path == folder / "ledger.db"
        assert list(ledger.entries()) == []
        assert ledger.head() == TreeHead(0, EMPTY_ROOT.hex())
        assert ledger.append([]) == []
        assert ledger.free_bytes() > 0
    assert verify_folder(folder).ok


def test_what_is_appended_is_what_is_read(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        first = ledger.append([body(1, job="a"), {"kind": "note", "text": "é — \x00", "x": 56.0}])
        second = ledger.append([body(2, job="b"), body(3, job="a", kind="act")])
        assert [entry.seq for entry in first + second] == [1, 2, 3, 4]
        assert list(ledger.entries()) == first + second
        assert repr(first[1].body["x"]) == "56"
    with Ledger.read(tmp_path) as again:
        assert list(again.entries()) == first + second
        assert [entry.seq for entry in again.entries(job="a")] == [1, 4]
        assert [entry.seq for entry in again.entries(after=1, job="a")] == [4]
        assert [entry.seq for entry in again.entries(kinds=["act", "note"])] == [2, 4]
        assert list(again.entries(kinds=())) == []
        assert [entry.seq for entry in again.entries(after=2)] == [3, 4]
        assert next(again.entries()).job == "a"


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(bursts=st.lists(st.integers(0, 9), max_size=6), reopen=st.sets(st.integers(0, 5)))
def test_appending_and_reopening(tmp_path_factory: pytest.TempPathFactory, bursts: list[int], reopen: set[int]) -> None:
    folder = tmp_path_factory.mktemp("ledger")
    ledger = Ledger.open(folder)
    expected: list[int] = []
    heads = [ledger.head()]
    for turn, count in enumerate(bursts):
        numbers = range(len(expected), len(expected) + count)
        expected += [entry.seq for entry in ledger.append([body(number) for number in numbers])]
        heads.append(ledger.head())
        if turn in reopen:
            ledger.close()
            ledger = Ledger.open(folder)
    assert [entry.seq for entry in ledger.entries()] == expected == list(range(1, len(expected) + 1))
    assert [entry.body["number"] for entry in ledger.entries()] == list(range(len(expected)))
    for head in heads:
        proof = ledger.consistency_proof(head.size)
        assert verify_consistency(
            old=head.size,
            new=len(expected),
            old_root=bytes.fromhex(head.root),
            new_root=bytes.fromhex(ledger.head().root),
            proof=proof,
        )
    ledger.close()
    assert verify_folder(folder).head == heads[-1]


def test_proofs_of_entries(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([body(number) for number in range(11)])
        root = bytes.fromhex(ledger.head().root)
        for seq in range(1, 12):
            proof = ledger.inclusion_proof(seq)
            leaf = leaf_of(ledger, seq)
            assert verify_inclusion(leaf=leaf, index=seq - 1, size=11, proof=proof, root=root)
        assert ledger.inclusion_proof(1, size=1) == ()
        for bad in (0, 12):
            with pytest.raises(BadInput):
                ledger.inclusion_proof(bad)
        with pytest.raises(BadInput):
            ledger.inclusion_proof(5, size=4)
        with pytest.raises(BadInput):
            ledger.consistency_proof(12)


@pytest.mark.parametrize(
    ("bad", "place"),
    [
        ({"kind": "x", "raw": "\ud800"}, "bodies[1].raw"),
        ({"kind": "x", "n": float("nan")}, "bodies[1].n"),
        ({"kind": "x", "n": 2**60}, "bodies[1].n"),
        ({"raw": "00"}, "bodies[1].kind: missing"),
        ({"kind": ""}, "bodies[1].kind"),
        ({"kind": 5}, "bodies[1].kind"),
        ({"kind": "x", "job": 7}, "bodies[1].job"),
        ({"kind": "x", "job": ""}, "bodies[1].job"),
    ],
)
def test_a_bad_body_is_named_and_nothing_of_its_burst_is_written(
    tmp_path: Path, bad: dict[str, Any], place: str
) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([body(0)])
        with pytest.raises(BadInput, match="entry") as caught:
            ledger.append([body(1), bad])
        assert caught.value.found.startswith(place)
        assert ledger.head().size == 1
        assert [entry.seq for entry in ledger.append([body(1)])] == [2]


def fill(ledger: Ledger, stored: list[Entry]) -> None:
    while len(stored) < 500:
        stored += ledger.append([{"kind": "x", "text": "y" * 500}])


def test_a_full_disk_loses_nothing_and_heals_without_a_restart(tmp_path: Path) -> None:
    with OpenedUp.open(tmp_path) as ledger:
        stored = ledger.append([{"kind": "x", "text": "y" * 500}])
        connection = ledger.writing_connection()
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count={pages + 12}")
        with pytest.raises(StorageTrouble) as caught:
            fill(ledger, stored)
        assert caught.value.cause is StorageCause.FULL
        assert f"entries 1 to {len(stored)} are safe" in caught.value.kept
        assert 1 < len(stored) < 500
        assert list(ledger.entries()) == stored
        assert ledger.head().size == len(stored)
        connection.execute("PRAGMA max_page_count=1000000")
        stored += ledger.append([body(1), body(2)])
        assert list(ledger.entries()) == stored
    assert verify_folder(tmp_path).ok


def test_a_lock_of_another_program_delays_and_loses_nothing(tmp_path: Path) -> None:
    with Ledger.open(tmp_path, busy_timeout_s=0.05) as ledger:
        ledger.append([body(1)])
        foreign = sqlite3.connect(ledger.path, isolation_level=None)
        foreign.execute("BEGIN IMMEDIATE")
        with pytest.raises(StorageTrouble) as caught:
            ledger.append([body(2)])
        assert caught.value.cause is StorageCause.HELD
        assert [entry.seq for entry in ledger.entries()] == [1]
        foreign.execute("ROLLBACK")
        foreign.close()
        assert [entry.seq for entry in ledger.append([body(2)])] == [2]


def test_readers_in_other_threads_see_whole_bursts_only(tmp_path: Path) -> None:
    bursts, size = 40, 5
    counts: list[int] = []
    done = threading.Event()
    with Ledger.open(tmp_path) as ledger:

        def look() -> None:
            while not done.is_set():
                counts.append(sum(1 for _ in ledger.entries()))
                counts.append(ledger.head().size)

        readers = [threading.Thread(target=look) for _ in range(2)]
        for reader in readers:
            reader.start()
        for turn in range(bursts):
            ledger.append([body(turn * size + number) for number in range(size)])
        done.set()
        for reader in readers:
            reader.join()
        assert ledger.head().size == bursts * size
    assert counts
    assert all(count % size == 0 for count in counts)


def test_the_head_file_follows(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        assert read_head_file(ledger.path) is None
        ledger.append([body(number) for number in range(HEAD_EVERY - 1)])
        assert read_head_file(ledger.path) is None
        ledger.append([body(0)])
        assert read_head_file(ledger.path) == ledger.head()
        ledger.append([body(0)])
        assert read_head_file(ledger.path) != ledger.head()
        ledger.write_head()
        assert read_head_file(ledger.path) == ledger.head()
        ledger.append([body(0)])
        last = ledger.head()
    assert read_head_file(tmp_path / "ledger.db") == last


def test_a_head_file_that_cannot_be_written_loses_no_entry(tmp_path: Path) -> None:
    ledger = Ledger.open(tmp_path)
    head_path(ledger.path).mkdir()
    assert len(ledger.append([body(number) for number in range(HEAD_EVERY)])) == HEAD_EVERY
    assert any("head file" in notice for notice in ledger.notices())
    with pytest.raises(StorageTrouble):
        ledger.close()
    head_path(ledger.path).rmdir()
    with Ledger.open(tmp_path) as again:
        assert again.head().size == HEAD_EVERY
        assert again.append([body(1)])[0].seq == HEAD_EVERY + 1


def test_an_error_inside_the_block_is_not_covered_by_one_of_closing(tmp_path: Path) -> None:
    ledger = Ledger.open(tmp_path)
    head_path(ledger.path).mkdir()
    with pytest.raises(Refused, match="none"), ledger:
        raise Refused("own", found="", allowed="none", do="")


def test_what_is_closed_or_for_reading_refuses(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([body(1)])
    ledger.close()
    for act in (lambda: ledger.append([body(2)]), ledger.entries, ledger.head, ledger.write_head):
        with pytest.raises(Refused):
            act()
    with Ledger.read(tmp_path) as reading:
        with pytest.raises(Refused):
            reading.append([body(2)])
        with pytest.raises(Refused):
            reading.write_head()
        assert reading.head().size == 1


def test_a_copy_beside_is_named_and_left_alone(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([body(1)])
    copy = tmp_path / "ledger (conflicted copy 2026-03-02).db"
    copy.write_bytes(b"other")
    with Ledger.open(tmp_path) as ledger:
        assert any(copy.name in notice and "ledger.db stays" in notice for notice in ledger.notices())
        assert ledger.head().size == 1
    assert copy.read_bytes() == b"other"


def test_little_room_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Ledger.open(tmp_path) as ledger:
        monkeypatch.setattr("axledger.ledger.ledger.LOW_SPACE_BYTES", 10**18)
        assert any("are free" in notice for notice in ledger.notices())
        monkeypatch.setattr("axledger.ledger.ledger.LOW_SPACE_BYTES", 0)
        assert ledger.notices() == ()
