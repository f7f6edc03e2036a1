"""``axledger replay``: recompute every job from raw bytes and compare with what was understood and stated."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from axledger.cli.folder import add_json, data_folder, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("job", nargs="*", metavar="JOB", help="only these jobs (default: all)")
    parser.add_argument("--tables", action="store_true",
                        help="also write jobs, readings, instruments and results to projections.db")  # fmt: skip
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Replay; return 1 where something comes out otherwise."""
    from axledger.assurance.projections import rebuild_projections
    from axledger.assurance.replay import replay
    from axledger.contract.errors import UnknownName
    from axledger.job.opening import job_names
    from axledger.ledger import Ledger
    from axledger_drivers.registry import decoder_for

    with Ledger.read(data_folder()) as ledger:
        known = job_names(ledger)
        for job in parsed.job:
            if job not in known:
                raise UnknownName("job", job, known)
        found = replay(ledger, decoder_for, jobs=parsed.job or None)
        tables = rebuild_projections(ledger, decoder_for) if parsed.tables else None
    if parsed.json:
        print_json({"identical": found.identical, "how": found.how, "jobs": found.jobs, "frames": found.frames,
                    "readings": found.readings, "compared": found.compared,
                    "differences": [asdict(difference) for difference in found.differences]})  # fmt: skip
    else:
        verdict = f"identical ({found.how})" if found.identical else "DIFFERENT"
        print(f"{verdict}: {found.jobs} jobs, {found.frames} frames, {found.readings} readings, "
              f"{found.compared} points compared")  # fmt: skip
        if not found.compared:
            print("nothing was compared yet: a run leaves a point to compare when it ends, and a job when it is closed")
        for difference in found.differences:
            print(f"  job {difference.job}, entry {difference.seq}: {difference.what}\n"
                  f"    recorded {difference.recorded}\n    replayed {difference.replayed}")  # fmt: skip
        if tables is not None:
            print(f"tables: {tables}")
    return 0 if found.identical else 1
