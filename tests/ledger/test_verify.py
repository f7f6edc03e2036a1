from __future__ import annotations

import hashlib
import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.ledger import Entry, JsonValue, Ledger, TreeHead, verify_folder
from axledger.ledger.canonical import canonical
from axledger.ledger.head import head_path, write_head_file
from axledger.ledger.merkle import Tree, leaf_hash
from axledger.ledger.schema import OBJECTS

SIZE = 40
COLUMNS = ("seq", "kind", "job", "body", "leaf", "nodes")
TRIGGERS = {name: sql for (kind, name), sql in OBJECTS.items() if kind == "trigger"}


def body(number: int) -> dict[str, JsonValue]:
    return {"job": f"job-{number % 3}", "kind": "arrival", "number": number, "x": number / 7, "t": "é"}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sound")
    with Ledger.open(folder) as ledger:
        ledger.append([body(number) for number in range(1, SIZE + 1)])
    return folder


@pytest.fixture
def copy(sound: Path, tmp_path: Path) -> Path:
    return copied(sound, tmp_path / "copy")


def copied(sound: Path, folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name in ("ledger.db", "ledger.head"):
        shutil.copy(sound / name, folder)
    return folder


def unguarded(folder: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(folder / "ledger.db", isolation_level=None)
    connection.execute("PRAGMA synchronous=OFF")
    for name in TRIGGERS:
        connection.execute(f"DROP TRIGGER {name}")
    return connection


def guard_again(connection: sqlite3.Connection) -> None:
    for sql in TRIGGERS.values():
        connection.execute(sql)
    connection.close()


def change_byte(folder: Path, seq: int, column: str, place: int, mask: int) -> None:
    connection = unguarded(folder)
    if column == "seq":
        stored = bytearray(seq.to_bytes(8, "little"))
        stored[place % 7 + 1] ^= mask  # the lowest byte is left: most values are another entry's number
        changed_seq = int.from_bytes(stored, "little", signed=True)
        connection.execute("UPDATE entries SET seq = ? WHERE seq = ?", (changed_seq, seq))
    else:
        (stored,) = connection.execute(f"SELECT CAST({column} AS BLOB) FROM entries WHERE seq = ?", (seq,)).fetchone()
        changed = bytearray(stored)
        changed[place % len(changed)] ^= mask
        kind = "BLOB" if column in {"leaf", "nodes"} else "TEXT"
        connection.execute(f"UPDATE entries SET {column} = CAST(? AS {kind}) WHERE seq = ?", (bytes(changed), seq))
    guard_again(connection)


def test_a_sound_ledger_is_ok_and_untouched(copy: Path) -> None:
    before = (copy / "ledger.db").read_bytes()
    report = verify_folder(copy)
    assert report.ok
    assert report.entries == SIZE
    assert report.first_bad is None
    with Ledger.read(copy) as ledger:
        assert report.head == ledger.head()
    assert (copy / "ledger.db").read_bytes() == before


@settings(max_examples=150, deadline=None)
@given(
    seq=st.integers(1, SIZE),
    column=st.sampled_from(COLUMNS),
    place=st.integers(0, 500),
    mask=st.integers(1, 255),
)
def test_any_changed_byte_of_any_entry_is_found_and_named(
    tmp_path_factory: pytest.TempPathFactory, sound: Path, seq: int, column: str, place: int, mask: int
) -> None:
    folder = copied(sound, tmp_path_factory.getbasetemp() / "byte")
    change_byte(folder, seq, column, place, mask)
    report = verify_folder(folder)
    assert not report.ok
    assert report.first_bad == seq, report.reason
    assert report.head.size == seq - 1
    assert str(seq) in report.reason


@settings(max_examples=50, deadline=None)
@given(
    changes=st.dictionaries(
        st.integers(1, SIZE), st.sampled_from(["kind", "job", "body", "leaf"]), min_size=2, max_size=6
    )
)
def test_the_first_of_several_is_named(
    tmp_path_factory: pytest.TempPathFactory, sound: Path, changes: dict[int, str]
) -> None:
    folder = copied(sound, tmp_path_factory.getbasetemp() / "several")
    for seq, column in changes.items():
        change_byte(folder, seq, column, 3, 1)
    assert verify_folder(folder).first_bad == min(changes)


def test_a_changed_node_is_told_from_a_changed_entry_after_it(copy: Path) -> None:
    change_byte(copy, 8, "nodes", 2 * 32, 1)
    change_byte(copy, 9, "body", 10, 1)
    assert verify_folder(copy).first_bad == 8


def rewrite(connection: sqlite3.Connection, seq: int) -> bytes:
    data = canonical({"kind": "arrival", "job": "job-1", "number": 999})
    connection.execute(
        "UPDATE entries SET kind = 'arrival', job = 'job-1', body = ?, leaf = ? WHERE seq = ?",
        (data.decode(), leaf_hash(data), seq),
    )
    return leaf_hash(data)


@pytest.mark.parametrize("seq", [1, 2, 17, 18, SIZE])
def test_body_and_leaf_changed_together_are_named_by_the_nodes(copy: Path, seq: int) -> None:
    connection = unguarded(copy)
    rewrite(connection, seq)
    guard_again(connection)
    assert verify_folder(copy).first_bad == seq


@pytest.mark.parametrize(("seq", "named"), [(17, 17), (18, 17), (32, 31)])
def test_an_entry_changed_with_its_own_node_is_narrowed_to_a_pair(copy: Path, seq: int, named: int) -> None:
    connection = unguarded(copy)
    leaf = rewrite(connection, seq)
    (nodes,) = connection.execute("SELECT nodes FROM entries WHERE seq = ?", (seq,)).fetchone()
    connection.execute("UPDATE entries SET nodes = ? WHERE seq = ?", (leaf + nodes[32:], seq))
    guard_again(connection)
    report = verify_folder(copy)
    assert report.first_bad == named
    assert f"entries {named} to {named + 1}" in report.reason


def test_a_rewritten_ledger_is_given_away_by_the_head_file(copy: Path) -> None:
    connection = unguarded(copy)
    rewrite(connection, 20)
    tree = Tree()
    for seq, text in connection.execute("SELECT seq, body FROM entries ORDER BY seq").fetchall():
        leaf = leaf_hash(text.encode())
        tree, nodes = tree.extended(leaf)
        connection.execute("UPDATE entries SET leaf = ?, nodes = ? WHERE seq = ?", (leaf, nodes, seq))
    guard_again(connection)
    report = verify_folder(copy)
    assert not report.ok
    assert report.first_bad is None
    assert f"entries 1 to {SIZE} is not the one in the head file" in report.reason
    with pytest.raises(StorageTrouble, match="damaged") as caught:
        Ledger.open(copy)
    assert "head file" in caught.value.found


@pytest.mark.parametrize("seq", [1, 7, SIZE])
def test_a_removed_entry_is_named(copy: Path, seq: int) -> None:
    connection = unguarded(copy)
    connection.execute("DELETE FROM entries WHERE seq = ?", (seq,))
    guard_again(connection)
    report = verify_folder(copy)
    assert report.first_bad == seq
    assert "missing" in report.reason
    assert report.entries == SIZE - 1


def test_a_cut_tail_is_named_by_the_report_and_at_start(copy: Path) -> None:
    connection = unguarded(copy)
    connection.execute("DELETE FROM entries WHERE seq > 30")
    guard_again(connection)
    report = verify_folder(copy)
    assert report.first_bad == 31
    assert report.reason == "entries from 31 on are missing; the head file knows 40"
    before = (copy / "ledger.db").read_bytes()
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert caught.value.cause is StorageCause.DAMAGED
    assert caught.value.found == ("entries from 31 on are missing; the head file knows 40; entries 1..30 are good")
    assert (copy / "ledger.db").read_bytes() == before


def test_a_flipped_byte_is_named_at_start_and_the_file_left_as_it_is(copy: Path) -> None:
    change_byte(copy, 20, "body", 5, 1)
    before = (copy / "ledger.db").read_bytes()
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert caught.value.cause is StorageCause.DAMAGED
    assert caught.value.found == "entry 20 does not match its hash; entries 1..19 are good"
    assert "axledger verify" in caught.value.do
    assert (copy / "ledger.db").read_bytes() == before
    with Ledger.read(copy) as ledger:
        assert [entry.seq for entry in ledger.entries(after=20)] == list(range(21, SIZE + 1))


def test_what_follows_the_head_file_is_checked_at_start(copy: Path) -> None:
    with Ledger.open(copy) as ledger:
        early = ledger.head()
        ledger.append([body(number) for number in range(5)])
    write_head_file(copy / "ledger.db", early)
    change_byte(copy, SIZE + 3, "leaf", 5, 1)
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert caught.value.found.startswith(f"entry {SIZE + 3} does not match")


def test_a_lost_file_with_a_head_file_is_no_fresh_start(copy: Path) -> None:
    (copy / "ledger.db").unlink()
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert caught.value.found == f"entries from 1 on are missing; the head file knows {SIZE}"
    assert not (copy / "ledger.db").exists()
    report = verify_folder(copy)
    assert (report.ok, report.first_bad, report.entries) == (False, 1, 0)
    (copy / "ledger.db").write_bytes(b"")
    report = verify_folder(copy)
    assert (report.ok, report.first_bad) == (False, 1)
    with pytest.raises(StorageTrouble):
        Ledger.open(copy)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"size": -1, "root": "00"}', "\udcff", "[" * 9000])
def test_a_damaged_head_file_is_said(copy: Path, text: str) -> None:
    head_path(copy / "ledger.db").write_bytes(text.encode("utf-8", "surrogateescape"))
    report = verify_folder(copy)
    assert not report.ok
    assert "head file cannot be read" in report.reason
    assert report.head.size == SIZE
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert caught.value.cause is StorageCause.DAMAGED


def test_without_a_head_file_everything_is_checked_at_start(copy: Path) -> None:
    head_path(copy / "ledger.db").unlink()
    assert verify_folder(copy).ok
    change_byte(copy, 2, "job", 1, 1)
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert caught.value.found == ("entry 2 does not match: its columns do not repeat its body; entry 1 is good")


@pytest.mark.parametrize("name", sorted(TRIGGERS))
def test_a_missing_guard_is_named(copy: Path, name: str) -> None:
    connection = sqlite3.connect(copy / "ledger.db")
    connection.execute(f"DROP TRIGGER {name}")
    connection.close()
    assert f"the trigger {name} is missing" in verify_folder(copy).reason
    for opening in (Ledger.open, Ledger.read):
        with pytest.raises(StorageTrouble) as caught:
            opening(copy)
        assert caught.value.cause is StorageCause.DAMAGED
        assert caught.value.found == f"the trigger {name} is missing"


@pytest.mark.parametrize(
    ("statements", "words"),
    [
        (
            [
                "DROP TRIGGER entries_never_change",
                "CREATE TRIGGER entries_never_change BEFORE UPDATE ON entries WHEN 0 BEGIN SELECT 1; END",
            ],
            "the trigger entries_never_change is not the one of the ledger",
        ),
        (["CREATE TRIGGER more AFTER INSERT ON entries BEGIN SELECT 1; END"], "the trigger more is not ours"),
        (["DROP INDEX entries_by_job"], "the index entries_by_job is missing"),
        (["DELETE FROM meta"], "the schema version is not stated"),
        (["DROP TABLE meta"], "the table meta is missing"),
        (["ALTER TABLE entries ADD COLUMN extra TEXT"], "the table entries is not the one of the ledger"),
    ],
)
def test_another_schema_is_named(copy: Path, statements: list[str], words: str) -> None:
    connection = sqlite3.connect(copy / "ledger.db", isolation_level=None)
    for sql in statements:
        connection.execute(sql)
    connection.close()
    assert words in verify_folder(copy).reason
    with pytest.raises(StorageTrouble) as caught:
        Ledger.open(copy)
    assert words in caught.value.found


def test_an_index_that_hides_an_entry_is_found(copy: Path) -> None:
    connection = sqlite3.connect(copy / "ledger.db", isolation_level=None)
    (sql,) = connection.execute("SELECT sql FROM sqlite_schema WHERE name = 'entries_by_job'").fetchone()
    connection.execute("DROP INDEX entries_by_job")
    connection.execute("CREATE INDEX entries_by_job ON entries(job) WHERE job IS NOT NULL AND seq <> 5")
    connection.execute("PRAGMA writable_schema=ON")
    connection.execute("UPDATE sqlite_schema SET sql = ? WHERE name = 'entries_by_job'", (sql,))
    connection.close()
    report = verify_folder(copy)
    assert not report.ok
    assert "SQLite finds the file damaged" in report.reason


def test_a_row_outside_the_sequence_is_found(copy: Path) -> None:
    connection = unguarded(copy)
    connection.execute("INSERT INTO entries VALUES (-3, 'x', NULL, '{}', x'00', x'00')")
    guard_again(connection)
    assert "rows outside the sequence" in verify_folder(copy).reason


def altered(data: bytes, place: int, mask: int) -> bytes:
    return data[:place] + bytes([data[place] ^ mask]) + data[place + 1 :]


def test_any_flipped_bit_of_the_file_is_reported_or_changes_nothing(sound: Path, tmp_path: Path) -> None:
    data = (sound / "ledger.db").read_bytes()
    with Ledger.read(sound) as ledger:
        whole = list(ledger.entries())
    chance = random.Random(8785)
    reported = 0
    for _ in range(150):
        folder = copied(sound, tmp_path / "flipped")
        changed = altered(data, chance.randrange(len(data)), 1 << chance.randrange(8))
        (folder / "ledger.db").write_bytes(changed)
        reported += not unharmed(folder, whole)
    assert reported > 75


def unharmed(folder: Path, whole: list[Entry]) -> bool:
    """Tell whether the check finds nothing; then every entry must read as before."""
    try:
        report = verify_folder(folder)
    except StorageTrouble as error:
        assert error.cause is StorageCause.NEWER  # noqa: PT017 - the version's digit may be the one hit
        return False
    if report.ok:
        with Ledger.read(folder) as ledger:
            assert list(ledger.entries()) == whole
    return report.ok


@pytest.mark.parametrize("cut", [1, 100, 1024, 3000])
def test_a_shortened_file_is_reported(copy: Path, cut: int) -> None:
    path = copy / "ledger.db"
    path.write_bytes(path.read_bytes()[:-cut])
    report = verify_folder(copy)
    assert not report.ok
    assert report.reason


def test_what_is_no_database_is_reported_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    path.write_bytes(b"this is a letter, not a ledger" * 100)
    report = verify_folder(tmp_path)
    assert (report.ok, report.first_bad, report.head) == (False, 1, TreeHead(0, hashlib.sha256().hexdigest()))
    for opening in (Ledger.open, Ledger.read):
        with pytest.raises(StorageTrouble) as caught:
            opening(tmp_path)
        assert caught.value.cause is StorageCause.DAMAGED
    assert path.read_bytes() == b"this is a letter, not a ledger" * 100


def test_where_there_is_no_ledger(tmp_path: Path) -> None:
    for act in (verify_folder, Ledger.read, lambda folder: Ledger.open(folder, create=False)):
        with pytest.raises(StorageTrouble) as caught:
            act(tmp_path / "nowhere")
        assert caught.value.cause is StorageCause.ABSENT
    assert not (tmp_path / "nowhere").exists()


def test_a_check_beside_a_writer(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        ledger.append([body(1)])
        ledger.write_head()
        ledger.append([body(2)])
        report = verify_folder(tmp_path)
        assert report.ok
        assert report.head == ledger.head()
