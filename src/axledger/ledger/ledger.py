"""The ledger of a data folder: append facts, read them, prove them."""

from __future__ import annotations

import shutil
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from axledger.contract.errors import BadInput, Refused, StorageCause, StorageTrouble
from axledger.ledger.canonical import JsonValue, encode
from axledger.ledger.entry import Entry, TreeHead
from axledger.ledger.files import copies_beside, current_ledger
from axledger.ledger.lock import WriterLock
from axledger.ledger.merkle import Tree, consistency_proof, inclusion_proof, leaf_hash, tree_at
from axledger.ledger.opening import check_identity, check_tail, refuse_lost_ledger
from axledger.ledger.reader import Reader
from axledger.ledger.schema import create as create_schema
from axledger.ledger.schema import is_blank
from axledger.ledger.store import (
    connect_reader,
    connect_writer,
    recover,
    reserve_log,
    storage,
    sync_folder,
    words_for_trouble,
)
from axledger.ledger.successor import check_successor, start_successor
from axledger.ledger.writer import Line, Writer

__all__ = ["LOW_SPACE_BYTES", "Ledger"]

# Own choice: weeks of jobs fit into this, so there is time to act.
LOW_SPACE_BYTES = 200_000_000


class Ledger:
    """The ledger of one data folder, for one writer or for any number of readers.

    Threads: ``append`` is meant for one thread at a time and locks itself against a second; ``entries``
    and everything else may be called from any thread, also while another appends, and sees what is
    durable. Close it once, from any thread, when no call is under way.
    """

    def __init__(self, path: Path, reader: Reader, writer: Writer | None, lock: WriterLock | None) -> None:
        self._path = path
        self._reader = reader
        self._writer = writer
        self._lock = lock
        self._closed = False

    @classmethod
    def open(
        cls, folder: Path, *, create: bool = True, succeed: bool = False, busy_timeout_s: float = 5.0,
        durable: bool = True,
    ) -> Self:  # fmt: skip
        """Open the ledger of ``folder`` for writing, after checking that it is as it was left.

        With ``create`` a missing folder or ledger is made. With ``succeed`` a damaged ledger is left as
        it is and a new one started whose first entry names it and its last good mark; a sound ledger is
        then ``Refused``. ``busy_timeout_s`` is how long an append waits for a foreign lock. ``durable`` is
        given up by simulations of thousands of jobs alone: a power cut then loses what the disk had not got.

        Raises ``StorageTrouble``: HELD, NEWER, READ_ONLY, FULL, DAMAGED, ABSENT (without ``create``).
        """
        with storage(folder):
            if not create and not current_ledger(folder).exists():
                raise words_for_trouble(StorageCause.ABSENT, path=folder, found="no ledger file")
            folder.mkdir(parents=True, exist_ok=True)
        lock = WriterLock(folder)
        try:
            line = start_successor(folder) if succeed else None
            ledger = cls._open_locked(current_ledger(folder), lock, busy_timeout_s, starting=succeed, durable=durable)
        except BaseException:
            lock.release()
            raise
        if line is not None:
            ledger.append([line])
        return ledger

    @classmethod
    def _open_locked(
        cls, path: Path, lock: WriterLock, busy_timeout_s: float, *, starting: bool, durable: bool
    ) -> Self:
        with storage(path):
            tree = _checked_tree(path, busy_timeout_s, starting=starting, durable=durable)
            connection = connect_writer(path, busy_timeout_s=busy_timeout_s, durable=durable)
            try:
                reserve_log(connection)  # a file that cannot be written shows here
                reader = Reader(connect_reader(path, busy_timeout_s=busy_timeout_s), path)
            except BaseException:
                connection.close()
                raise
        return cls(path, reader, Writer(connection, path, tree), lock)

    @classmethod
    def read(cls, folder: Path, *, name: str | None = None) -> Self:
        """Open the ledger of ``folder`` for reading only, without a lock, beside any writer.

        ``name`` is the file of a ledger that has a successor, as the successor's first entry gives it.
        Raises ``StorageTrouble``: ABSENT, NEWER, DAMAGED (also where a guard is missing).
        """
        path = current_ledger(folder) if name is None else folder / name
        if not path.exists():
            raise words_for_trouble(StorageCause.ABSENT, path=folder, found="no ledger file")
        with storage(path):
            connection = connect_reader(path)
            try:
                if is_blank(connection):
                    raise words_for_trouble(StorageCause.ABSENT, path=path, found="an empty file")
                check_identity(connection, path)
                check_successor(connection, path)
            except BaseException:
                connection.close()
                raise
        return cls(path, Reader(connection, path), None, None)

    @property
    def path(self) -> Path:
        """The ledger file in use."""
        return self._path

    @property
    def folder(self) -> Path:
        """The data folder."""
        return self._path.parent

    def append(self, bodies: Sequence[Mapping[str, JsonValue]]) -> list[Entry]:
        """Store ``bodies`` as entries in one transaction; return them once all are durable.

        Every body has the text ``kind`` and may have the text ``job``. Raises ``BadInput`` naming the
        place of what cannot be written (then nothing is), ``StorageTrouble`` where the disk or another
        program is in the way (then nothing is acknowledged and all earlier entries are safe),
        ``Refused`` on a ledger opened for reading.
        """
        writer = self._writing()
        lines = [_prepare(body, index) for index, body in enumerate(bodies)]
        if not lines:
            return []
        seq = writer.append(lines) - 1
        return [Entry(seq=(seq := seq + 1), kind=kind, job=job, body=stored) for kind, job, _, _, stored in lines]

    def entries(
        self, *, after: int = 0, job: str | None = None, kinds: Collection[str] | None = None
    ) -> Iterator[Entry]:
        """Yield entries with ``seq`` above ``after``, in order, of one job or of some kinds only.

        Ends at the last entry there was when the first was asked for. Raises ``StorageTrouble``.
        """
        return self._reading().entries(after=after, job=job, kinds=kinds)

    def head(self) -> TreeHead:
        """Return size and root over all durable entries."""
        reader = self._reading()
        if self._writer is not None:
            return self._writer.head()
        tree: Tree = reader.snapshot(tree_at)
        return TreeHead(tree.size, tree.root().hex())

    def inclusion_proof(self, seq: int, *, size: int | None = None) -> tuple[bytes, ...]:
        """Return the audit path of entry ``seq`` in the first ``size`` entries (default: all).

        ``axledger.ledger.merkle.verify_inclusion`` checks it, with index ``seq - 1``. Raises
        ``BadInput`` for an entry that is not among them.
        """
        return self._reading().snapshot(
            lambda now, node: inclusion_proof(
                _within(seq, 1, now if size is None else _within(size, 0, now)) - 1,
                now if size is None else size,
                node,
            )
        )

    def consistency_proof(self, old_size: int) -> tuple[bytes, ...]:
        """Return the proof that the first ``old_size`` entries begin the ledger of now.

        ``axledger.ledger.merkle.verify_consistency`` checks it. Raises ``BadInput`` for a size the
        ledger never had.
        """
        return self._reading().snapshot(lambda now, node: consistency_proof(_within(old_size, 0, now), now, node))

    def write_head(self) -> None:
        """Write the head file now; raises ``StorageTrouble``, ``Refused`` on a ledger for reading."""
        self._writing().write_head()

    def free_bytes(self) -> int:
        """Return the free space on the disk of the data folder, in bytes."""
        with storage(self._path):
            return shutil.disk_usage(self.folder).free

    def notices(self) -> tuple[str, ...]:
        """Return what the user should know though the ledger works: little room, foreign copies."""
        free = self.free_bytes()
        found = [f"only {free // 1_000_000} MB are free; free some space"] if free < LOW_SPACE_BYTES else []
        found += [
            f"{name} looks like a copy made by another program; {self._path.name} stays in use"
            for name in copies_beside(self.folder)
        ]
        if self._writer is not None and self._writer.head_trouble:
            found.append(self._writer.head_trouble)
        return tuple(found)

    def close(self) -> None:
        """Write the head file and let go of the folder; raises ``StorageTrouble`` for the head file.

        Whatever it raises, the ledger is closed and every entry safe. Closing twice does nothing.
        """
        if self._closed:
            return
        try:
            if self._writer is not None:
                self._writer.write_head()
        finally:
            self._closed = True
            self._reader.close()
            if self._writer is not None:
                self._writer.close()
            if self._lock is not None:
                self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            self.close()
            return
        with suppress(StorageTrouble):  # the error on its way out says more
            self.close()

    def _reading(self) -> Reader:
        if self._closed:
            raise _refused("the ledger is closed", "open it again")
        return self._reader

    def _writing(self) -> Writer:
        self._reading()
        if self._writer is None:
            raise _refused("the ledger was opened for reading", "open it for writing")
        return self._writer


def _checked_tree(path: Path, busy_timeout_s: float, *, starting: bool, durable: bool) -> Tree:
    """Return the tree of the ledger at ``path``, created empty where there is none yet.

    Everything is checked through a connection that cannot write, so a file that is not ours, newer or
    damaged stays untouched to the last bit.
    """
    if path.exists():
        recover(path)
        connection = connect_reader(path, busy_timeout_s=busy_timeout_s)
        try:
            if not is_blank(connection):
                check_identity(connection, path)
                if not starting:
                    check_successor(connection, path)
                return check_tail(connection, path)
        finally:
            connection.close()
    refuse_lost_ledger(path, starting=starting)
    connection = connect_writer(path, busy_timeout_s=busy_timeout_s, durable=durable)
    try:
        create_schema(connection)
    finally:
        connection.close()
    sync_folder(path.parent)
    return Tree()


def _prepare(body: Mapping[str, JsonValue], index: int) -> Line:
    text, stored = encode(body, path=f"bodies[{index}]")
    kind, job = stored.get("kind"), stored.get("job")
    if not isinstance(kind, str) or not kind:
        raise _bad_body(f"bodies[{index}].kind", "no text" if "kind" in stored else "missing")
    if job is not None and (not isinstance(job, str) or not job):
        raise _bad_body(f"bodies[{index}].job", "no text")
    return kind, job, text, leaf_hash(text.encode("utf-8")), stored


def _bad_body(place: str, why: str) -> BadInput:
    return BadInput(
        "an entry lacks what every entry has",
        found=f"{place}: {why}",
        allowed="the text 'kind' in every body, and the text 'job' where it belongs to one",
        do="say what kind of entry it is",
        kept="nothing of this burst was written; earlier entries are untouched",
    )


def _within(number: int, low: int, high: int) -> int:
    if not low <= number <= high:
        raise BadInput(
            "the ledger has no such entry",
            found=str(number),
            allowed=f"{low} to {high}" if low <= high else "none; the ledger is empty",
            do="name an entry or a size the ledger has",
        )
    return number


def _refused(what: str, do: str) -> Refused:
    return Refused(what, found=what, allowed="an open ledger, opened for writing to append", do=do)
