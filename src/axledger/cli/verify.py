"""``axledger verify``: prove the ledger unchanged, or name the first bad entry."""

from __future__ import annotations

import argparse

from axledger.cli.folder import add_json, data_folder, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Verify; return 1 where an entry is bad."""
    from axledger.ledger import verify_folder

    report = verify_folder(data_folder())
    if parsed.json:
        head = {"size": report.head.size, "root": report.head.root}
        print_json(
            {"ok": report.ok, "entries": report.entries, "head": head, "first_bad": report.first_bad,
             "reason": report.reason}
        )  # fmt: skip
    elif report.ok:
        print(f"unchanged: {report.entries} entries\nhead: {report.head.size} {report.head.root}")
    else:
        print(f"CHANGED: {report.reason}")
        if report.first_bad is not None:
            good = report.first_bad - 1
            print(f"first bad entry: {report.first_bad}; good before it: {f'1 to {good}' if good else 'none'}")
    return 0 if report.ok else 1
