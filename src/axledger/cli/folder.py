"""The data folder, the person, and JSON output: what most commands share."""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path
from typing import Any

__all__ = ["add_json", "add_person", "data_folder", "own_folder", "person_of", "print_json"]


def data_folder() -> Path:
    """Return the data folder: ``AXLEDGER_HOME``, else this system's place for a user's data."""
    if named := os.environ.get("AXLEDGER_HOME"):
        return Path(named).expanduser()
    from platformdirs import user_data_path

    return user_data_path("axledger", appauthor=False)


def own_folder(shelf: str) -> Path | None:
    """Return the folder of a shop's own profiles, layouts or limits within the data folder, if there is one."""
    folder = data_folder() / shelf
    return folder if folder.is_dir() else None


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print JSON for programs instead of words")


def add_person(parser: argparse.ArgumentParser) -> None:
    """Add ``--person``."""
    parser.add_argument("--person", metavar="NAME", help="who does this (default: the user logged in)")


def person_of(parsed: argparse.Namespace) -> str:
    """Return the person named, or the user logged in."""
    import getpass

    if parsed.person:
        return str(parsed.person)
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no user database, as in a bare container
        return "unnamed"


def print_json(data: Any) -> None:
    """Print data as JSON on one line."""
    print(json.dumps(data, ensure_ascii=False))
