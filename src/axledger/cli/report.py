"""``axledger report``: the sheet of a job, one self-contained HTML file."""

from __future__ import annotations

import argparse
import contextlib
from pathlib import Path
from typing import Any

from axledger.cli.folder import add_json, data_folder, print_json

__all__ = ["options", "run", "write_sheet"]


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("job", nargs="?", metavar="JOB", help="the job's name (default: the newest)")
    parser.add_argument("--out", metavar="FILE", help="where to write (default: reports/JOB.html in the data folder)")
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Write the sheet and say where it is."""
    from axledger.job.opening import fold_job, latest_job
    from axledger.ledger import Ledger
    from axledger_drivers.registry import decoder_for

    folder = data_folder()
    with Ledger.read(folder) as ledger:
        fold = fold_job(ledger, parsed.job or latest_job(ledger), decoder_for)
        head = ledger.head()
    path = Path(parsed.out) if parsed.out else folder / "reports" / f"{fold.job}.html"
    write_sheet(fold, head, path)
    if parsed.json:
        print_json({"job": fold.job, "report": str(path), "ledger": {"entries": head.size, "head": head.root}})
    else:
        print(f"{path}\nledger head: {head.size} {head.root}")
    return 0


def write_sheet(fold: Any, head: Any, path: Path) -> None:
    """Write a job's sheet to ``path``; raise ``StorageTrouble`` where it cannot be written."""
    from datetime import UTC, datetime

    from axledger.job.state import Words, state_of
    from axledger.job.statements import versions
    from axledger.report.report_file import write_report
    from axledger.report.sheet import sheet_html

    with contextlib.suppress(OSError):  # writing the file says in words what is wrong with the folder
        path.parent.mkdir(parents=True, exist_ok=True)
    html = sheet_html(
        state_of(fold, Words(fold.layout)),
        statement=fold.statements[-1][1] if fold.statements else None,
        head_size=head.size,
        head_root=head.root,
        versions=versions(),
        instruments_seq=fold.header.instruments,
        generated=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
    )
    write_report(path, html)
