"""The values the ledger hands out."""

from __future__ import annotations

from dataclasses import dataclass

from axledger.ledger.canonical import JsonValue

__all__ = ["Entry", "TreeHead"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One fact of the ledger.

    ``seq`` counts from 1 without gaps. ``kind`` and ``job`` repeat what ``body`` says under those
    keys. ``body`` is what the canonical JSON on disk reads as: 56.0 went in, 56 comes out, live and
    replayed alike. Treat it as read-only.
    """

    seq: int
    kind: str
    job: str | None
    body: dict[str, JsonValue]


@dataclass(frozen=True, slots=True)
class TreeHead:
    """Size and root (hex) of the Merkle tree over the entries 1 to ``size``."""

    size: int
    root: str
