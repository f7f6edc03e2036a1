"""Which files of a data folder are ledgers, and which is the one in use."""

from __future__ import annotations

import re
from pathlib import Path

__all__ = ["FIRST", "copies_beside", "current_ledger", "earlier_ledger", "next_ledger"]

FIRST = "ledger.db"
_OURS = re.compile(r"ledger(?:-([2-9]|[1-9][0-9]+))?\.db")


def _number(name: str) -> int | None:
    match = _OURS.fullmatch(name)
    return None if match is None else int(match[1] or 1)


def current_ledger(folder: Path) -> Path:
    """Return the ledger in use: the successor with the highest number, never the newest by date."""
    numbered = [(number, path) for path in folder.glob("ledger*.db") if (number := _number(path.name))]
    return max(numbered)[1] if numbered else folder / FIRST


def next_ledger(path: Path) -> Path:
    """Return the name of the successor of ``path``."""
    return path.with_name(f"ledger-{(_number(path.name) or 1) + 1}.db")


def earlier_ledger(path: Path) -> Path | None:
    """Return the name of the ledger ``path`` succeeds, None for the first."""
    number = _number(path.name) or 1
    if number == 1:
        return None
    return path.with_name(FIRST if number == 2 else f"ledger-{number - 1}.db")


def copies_beside(folder: Path) -> tuple[str, ...]:
    """Return files named like a copy of a ledger, as a synchronising program leaves them."""
    return tuple(sorted(path.name for path in folder.glob("ledger*.db") if _number(path.name) is None))
