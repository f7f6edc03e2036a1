"""``axledger demo``: a whole job with simulated devices and a simulated vehicle, no hardware."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from axledger.cli.chosen import add_chosen, chosen_of
from axledger.cli.folder import add_json, data_folder, own_folder, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("--vehicle", metavar="LAYOUT", default="tractor-4x2-semitrailer-3axle",
                        help="a layout's name or file (default: a tractor and its semitrailer)")  # fmt: skip
    parser.add_argument("--limits", metavar="SHEET", default="example-fleet", help="a limit sheet's name or file")
    parser.add_argument("--seed", type=int, default=1, help="which simulated vehicle, kit and noise (default 1)")
    parser.add_argument("--pace", choices=["fast", "real"], default="fast", help="real: watch it happen")
    parser.add_argument("--carrier", choices=["pty", "socket"], help="how the simulated bytes travel")
    parser.add_argument("--slips", type=float, default=0.02, help="how often the technician misses a target")
    add_chosen(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Run the demo; it exits 0 whatever the verdicts."""
    from axledger.cli.report import write_sheet
    from axledger.contract.errors import BadInput
    from axledger.job.library import load_layout, load_limit_sheet
    from axledger_simulators.demo import Demo, run_demo

    if parsed.seed < 0 or not 0.0 <= parsed.slips <= 0.5:
        raise BadInput(
            "the demo cannot run so", found=f"seed {parsed.seed}, slips {parsed.slips:g}",
            allowed="a seed from 0, slips from 0 to 0.5", do="choose other figures",
        )  # fmt: skip
    folder = data_folder() / "demo"
    demo = Demo(
        layout=load_layout(parsed.vehicle, own_folder("layouts")),
        limits=load_limit_sheet(parsed.limits, own_folder("limits")),
        seed=parsed.seed,
        folder=folder,
        pace=parsed.pace,
        carrier=parsed.carrier,
        slip_rate=parsed.slips,
        chosen=chosen_of(parsed),
    )
    written: list[Path] = []

    def finish(ledger: Any, done: Any) -> None:
        path = folder / "reports" / f"{done.fold.job}.html"
        write_sheet(done.fold, ledger.head(), path)
        written.append(path)

    view = _view(parsed)
    with view:
        outcome = run_demo(demo, view.watch, finish)
    if parsed.json:
        print_json(
            {
                "job": outcome.job,
                "vehicle": demo.layout.name,
                "seed": outcome.seed,
                "shots": outcome.shots,
                "readings": outcome.readings,
                "counts": dict(outcome.counts),
                "results": outcome.results,
                "ledger": {"entries": outcome.entries, "head": outcome.head},
                "report": str(written[0]),
            }
        )
    else:
        print(
            f"\nThe vehicle, its targets and the devices were simulated (seed {outcome.seed}); no limit here is real."
        )
        print(f"sheet:  {written[0]}\nledger: {folder} ({outcome.entries} entries, head {outcome.head})")
        print(f"prove it unchanged:  AXLEDGER_HOME={folder} axledger verify")
    return 0


def _view(parsed: argparse.Namespace) -> Any:
    from axledger.cli.job_screen import NoView, view_for

    if parsed.json:
        return NoView()
    return view_for(sys.stdout, colour=True, unicode=True)
