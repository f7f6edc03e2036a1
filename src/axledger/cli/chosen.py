"""How much of a layout's walk to take, as options: shared by ``job new`` and ``demo``."""

from __future__ import annotations

import argparse
from typing import Any

__all__ = ["add_chosen", "chosen_of"]

_PARTS = ("camber", "sweep")


def add_chosen(parser: argparse.ArgumentParser) -> None:
    """Add ``--procedure``, ``--no-turns`` and ``--with``."""
    parser.add_argument(
        "--procedure", choices=["short", "default", "thorough"], default="default",
        help="short: fewest shots, sees few slips; thorough: more shots and turns (default: default)",
    )  # fmt: skip
    parser.add_argument("--no-turns", action="store_true", help="turn no target: results rest on unproved settings")
    parser.add_argument(
        "--with", dest="parts", metavar="PARTS", default="",
        help="take these too: camber, or sweep (caster and kingpin), or both with a comma",
    )  # fmt: skip


def chosen_of(parsed: argparse.Namespace) -> Any:
    """Return the choice; raise ``UnknownName`` for a part there is none of."""
    from axledger.contract.errors import UnknownName
    from axledger.job.plan import Chosen

    parts = [part.strip() for part in parsed.parts.split(",") if part.strip()]
    for part in parts:
        if part not in _PARTS:
            raise UnknownName("part", part, _PARTS)
    return Chosen(procedure=parsed.procedure, turns=not parsed.no_turns, parts=frozenset(parts))
