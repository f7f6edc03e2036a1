"""Whole jobs by the thousand: whether the stated uncertainties hold, limits are decided and slips are named.

Run ``python -m axledger_simulators.campaign --jobs 200 --seed 1``; the figures of DEVELOPERS.md come from it. A job's
figures depend on the seed and its number alone, not on how many processes share the work.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import time
from collections.abc import Generator, Sequence
from contextlib import contextmanager
from typing import get_args

from axledger.job.layout import Procedure
from axledger.job.library import layout_names
from axledger_simulators.blunders import Blunder
from axledger_simulators.campaign_draws import CampaignPlan, History, draw_rows
from axledger_simulators.campaign_figures import figures, words
from axledger_simulators.campaign_job import JobOutcome, run_row

__all__ = ["main", "run_campaign"]

_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def run_campaign(plan: CampaignPlan, jobs: int, *, processes: int = 1) -> list[JobOutcome]:
    """Run ``jobs`` counted jobs in so many processes of their own (0: in this one); return all outcomes by number."""
    rows = draw_rows(plan, jobs)
    if processes == 0:
        return [outcome for row in rows for outcome in run_row(row)]
    # always by spawning: what a forked process inherits depends on the system, and so might the last bit
    with _one_thread(), multiprocessing.get_context("spawn").Pool(processes) as pool:
        done = [outcome for row in pool.imap_unordered(run_row, rows, chunksize=1) for outcome in row]
    return sorted(done, key=lambda outcome: outcome.draw.number)


@contextmanager
def _one_thread() -> Generator[None]:
    """Let processes started meanwhile do linear algebra in one thread: more of them only wait for each other."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    asked = _parser().parse_args(arguments)
    plan = CampaignPlan(
        seed=asked.seed, layouts=tuple(asked.vehicle or layout_names()), limits=asked.limits, slip=asked.slip,
        settings=asked.settings, history=asked.history, in_a_row=asked.in_a_row, bend_mm=asked.bend,
        at_limit=asked.at_limit, mend=asked.mend, meter_mm=asked.meter, repeats=asked.repeats,
        procedure=asked.procedure,
    )  # fmt: skip
    started = time.perf_counter()
    found = figures(run_campaign(plan, asked.jobs, processes=asked.processes), seconds=time.perf_counter() - started)
    print(json.dumps(found, indent=2) if asked.json else words(found))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m axledger_simulators.campaign", description=__doc__)
    add = parser.add_argument
    add("--jobs", type=int, default=200, help="how many jobs")
    add("--seed", type=int, default=1, help="the campaign's seed")
    add("--vehicle", action="append", metavar="NAME", help="a layout (default: all)")
    add("--limits", default="example-fleet", help="the limit sheet")
    add("--procedure", choices=get_args(Procedure), help="with its turns (default: by lot; the default one with slips)")
    add("--meter", type=float, metavar="MM", help="repeatability (default: 0.7 and 0.3 by lot; 0.7 with slips)")
    add("--repeats", type=int, choices=(1, 2, 3), help="readings a shot (default: 1 and 2 by lot; 2 with slips)")
    add("--settings", type=float, default=1.0, metavar="FACTOR", help="how much worse than stated settings really are")
    add("--history", choices=get_args(History), default="first", help="what is known of crew and targets")
    add("--in-a-row", type=int, default=0, metavar="N", help="jobs one after the other with the same targets")
    add("--bend", type=float, default=0.0, metavar="MM", help="bend a hub target half-way along the row")
    add("--slip", default="none", choices=[*(b.value for b in Blunder), "mixed", "none"], help="what to plant")
    add("--at-limit", action="store_true", help="set true values exactly to limits")
    add("--mend", action="store_true", help="work on each vehicle as advised and measure again")
    add("--processes", type=int, default=1, help="how many processes share the work (0: this one)")
    add("--json", action="store_true", help="figures as JSON")
    return parser


if __name__ == "__main__":
    raise SystemExit(main())
