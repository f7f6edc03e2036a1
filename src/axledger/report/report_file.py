"""Write a sheet to its file at one stroke: a reader sees the old file or the new one, never half of one."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from axledger.contract.errors import StorageCause, StorageTrouble

__all__ = ["write_report"]


def write_report(path: Path, html: str) -> None:
    """Write ``html`` (UTF-8) to ``path``, replacing what is there; raise ``StorageTrouble`` and leave no trace."""
    fresh = path.with_name(f".{path.name}.new")
    try:
        with fresh.open("w", encoding="utf-8", newline="\n") as stream:
            stream.write(html)
            stream.flush()
            os.fsync(stream.fileno())
        fresh.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):  # where even the folder is none, nothing was left behind
            fresh.unlink(missing_ok=True)
        raise StorageTrouble(
            f"the sheet could not be written to {path}", cause=_cause(error), found=error.strerror or str(error),
            allowed="a folder that can be written to, with room in it", do="name another file with --out",
            kept="the job and all its readings are in the ledger",
        ) from error  # fmt: skip


def _cause(error: OSError) -> StorageCause:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return StorageCause.ABSENT
    if isinstance(error, PermissionError):
        return StorageCause.READ_ONLY
    return StorageCause.OTHER
