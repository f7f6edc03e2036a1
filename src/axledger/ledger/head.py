"""The head file: the size and root of the tree, kept beside the ledger so that a cut tail shows."""

from __future__ import annotations

import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

from axledger.ledger.entry import TreeHead
from axledger.ledger.store import sync_folder

__all__ = ["head_path", "read_head_file", "write_head_file"]

_ROOT = re.compile(r"[0-9a-f]{64}")


def head_path(ledger_path: Path) -> Path:
    """Return where the head of the ledger file ``ledger_path`` is kept."""
    return ledger_path.with_suffix(".head")


def write_head_file(ledger_path: Path, head: TreeHead) -> None:
    """Replace the head file at one stroke and durably; raises ``OSError``."""
    target = head_path(ledger_path)
    fresh = target.with_name(target.name + ".new")
    stated = {"root": head.root, "size": head.size, "utc": datetime.now(UTC).isoformat(timespec="seconds")}
    with fresh.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(json.dumps(stated, sort_keys=True) + "\n")
        stream.flush()
        os.fsync(stream.fileno())
    fresh.replace(target)
    sync_folder(target.parent)


def read_head_file(ledger_path: Path) -> TreeHead | None:
    """Return what the head file states, None where there is none.

    Raises ``ValueError`` where it states nothing that can be a head, ``OSError`` where it cannot be
    read.
    """
    try:
        text = head_path(ledger_path).read_bytes().decode("utf-8")
    except FileNotFoundError:
        return None
    try:
        stated: object = json.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    fields = cast("dict[str, object]", stated) if isinstance(stated, dict) else {}
    size, root = fields.get("size"), fields.get("root")
    if type(size) is not int or size < 0 or not isinstance(root, str) or not _ROOT.fullmatch(root):
        raise ValueError("no size and root in it")
    return TreeHead(size, root)
