"""The writer lock: one process at a time appends to a data folder."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from filelock import BaseFileLock, FileLock, Timeout

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.ledger.store import storage

__all__ = ["WriterLock"]


class WriterLock:
    """Hold the writer lock of ``folder`` until ``release``.

    The system frees it when the process ends, however it ends. Raises ``StorageTrouble`` (HELD) where
    another writer has it, naming its process where known.
    """

    def __init__(self, folder: Path) -> None:
        self._holder = folder / "writer.pid"
        # A lock of one thread could not be released by another, and a job may be closed by either.
        self._lock: BaseFileLock = FileLock(folder / "writer.lock", timeout=0, thread_local=False)
        with storage(folder):
            try:
                self._lock.acquire()
            except Timeout as error:
                raise _held(folder, self._known_holder()) from error
            # Beside the lock, not in it: a locked file cannot be read everywhere.
            with suppress(OSError):
                self._holder.write_text(f"{os.getpid()}\n", encoding="ascii")

    def release(self) -> None:
        """Let another writer in; twice does nothing."""
        if not self._lock.is_locked:
            return  # the name beside the lock is another writer's by now
        with suppress(OSError):
            self._holder.unlink(missing_ok=True)
        self._lock.release()

    def _known_holder(self) -> str:
        try:
            pid = self._holder.read_text(encoding="ascii").strip()
        except (OSError, UnicodeDecodeError):
            return ""
        return pid if pid.isdigit() else ""


def _held(folder: Path, pid: str) -> StorageTrouble:
    who = f"process {pid}" if pid else "another process"
    return StorageTrouble(
        f"another writer holds the data folder {folder}",
        cause=StorageCause.HELD,
        found=f"{who} has the writer lock",
        allowed="one writer at a time; any number of readers",
        do="close the other program, or name another folder in AXLEDGER_HOME",
        kept="nothing was written; the other writer goes on undisturbed",
    )
