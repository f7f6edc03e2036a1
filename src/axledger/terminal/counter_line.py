"""The counter that always adds up: where every arrival went."""

from __future__ import annotations

from axledger.job.state import JobState
from axledger.job.tally import PARTS

__all__ = ["counter_line"]


def counter_line(state: JobState) -> str:
    """Return ``received 12 = accepted 10 + held 1 + not a reading 1``; parts that are zero are left out.

    Accepted and held are always named. Where the parts do not add up the line says so instead of hiding it.
    """
    counts = state.counts
    named = [f"{part} {counts[part]}" for part in PARTS if counts[part] or part in ("accepted", "held")]
    missing = counts["received"] - sum(counts[part] for part in PARTS)
    if missing:
        named.append(f"UNACCOUNTED {missing}")
    return f"received {counts['received']} = {' + '.join(named)}"
