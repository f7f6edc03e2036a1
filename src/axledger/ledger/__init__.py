"""The tamper-evident ledger: one SQLite file, one writer, one Merkle tree."""

from __future__ import annotations

from axledger.ledger.canonical import Json, JsonValue
from axledger.ledger.entry import Entry, TreeHead
from axledger.ledger.ledger import Ledger
from axledger.ledger.verify import VerifyReport, verify_folder

__all__ = ["Entry", "Json", "JsonValue", "Ledger", "TreeHead", "VerifyReport", "verify_folder"]
