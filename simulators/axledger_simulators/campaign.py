"""Whole jobs by the hundred: whether the stated uncertainties hold, and how many limits get decided.

Run ``python -m axledger_simulators.campaign --seeds 200``; the figures of DEVELOPERS.md come from it.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from axledger.job.library import layout_names, load_layout, load_limit_sheet
from axledger_simulators.demo import Demo, run_demo

__all__ = ["CampaignFigures", "run_campaign"]


@dataclass(slots=True)
class CampaignFigures:
    """What came of it. ``squares`` holds ((value - truth) / u)^2 of every determined result, by key."""

    jobs: int = 0
    squares: dict[str, list[float]] = field(default_factory=lambda: defaultdict[str, list[float]](list))
    verdicts: Counter[str] = field(default_factory=Counter[str])
    held: int = 0
    readings: int = 0

    def take(self, results: Sequence[dict[str, Any]]) -> None:
        """Add the results of one job."""
        self.jobs += 1
        for result in results:
            self.verdicts[result["verdict"]] += 1
            if result["value"] is not None:
                deviation = (result["value"] - result["truth"]) / (result["u95"] / 2)
                self.squares[result["key"]].append(deviation**2)

    @property
    def everything(self) -> list[float]:
        """Return all squares."""
        return [square for squares in self.squares.values() for square in squares]

    @property
    def coverage(self) -> float:
        """Return the share of determined results whose truth lies within u95."""
        squares = self.everything
        return sum(square <= 4.0 for square in squares) / len(squares)

    @property
    def mean_square(self) -> float:
        """Return the mean of ((value - truth) / u)^2; 1 where the stated u is right."""
        squares = self.everything
        return sum(squares) / len(squares)

    @property
    def decided(self) -> float:
        """Return the share of limits that were decided."""
        decided = self.verdicts["conforms"] + self.verdicts["does not conform"]
        return decided / (decided + self.verdicts["undecided"] + self.verdicts["not determined"])

    def words(self) -> str:
        """Return the figures as text."""
        rows = [
            f"jobs {self.jobs}, readings {self.readings}, held {self.held}",
            f"within u95 {self.coverage:.4f}   mean square {self.mean_square:.3f}   decided {self.decided:.3f}",
            ", ".join(f"{verdict} {count}" for verdict, count in self.verdicts.most_common()),
        ]
        rows += [f"{key:44} {sum(s) / len(s):5.2f} over {len(s)}" for key, s in sorted(self.squares.items())]
        return "\n".join(rows)


def run_campaign(seeds: Sequence[int], layouts: Sequence[str], limits: str = "example-fleet") -> CampaignFigures:
    """Run one job per seed, the layouts in turn, each in a data folder of its own."""
    figures, sheet = CampaignFigures(), load_limit_sheet(limits)
    loaded = [load_layout(name) for name in layouts]
    for number, seed in enumerate(seeds):
        with tempfile.TemporaryDirectory(prefix="axledger-campaign-") as folder:
            demo = Demo(layout=loaded[number % len(loaded)], limits=sheet, seed=seed, folder=Path(folder))
            outcome = run_demo(demo, lambda _fold, _told: None)
        figures.take(outcome.results)
        figures.held += outcome.counts["held"]
        figures.readings += outcome.readings
    return figures


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=200, help="how many jobs")
    parser.add_argument("--first", type=int, default=1, help="the first seed")
    parser.add_argument("--vehicle", action="append", help="layouts (default: all)")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.seeds)
    print(run_campaign(seeds, asked.vehicle or layout_names()).words())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
