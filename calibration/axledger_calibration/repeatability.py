"""Repeats that must agree: critical ranges of ISO 5725-6:1994."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

__all__ = ["critical_range", "odd_one_out"]

_FACTOR = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 7: 4.2, 8: 4.3, 9: 4.4, 10: 4.5}
"""Critical range factor f(n), 95 %: ISO 5725-6:1994, 5.2, table 1 (from memory)."""


def critical_range(count: int, repeatability_sd: float) -> float:
    """Return the range that ``count`` >= 2 repeats may span, in the unit of ``repeatability_sd``."""
    return _FACTOR[min(count, 10)] * repeatability_sd


def odd_one_out(values: Sequence[float], repeatability_sd: float) -> int | None:
    """Return the index of the one repeat that keeps three or more from agreeing, or ``None``.

    ``None`` where they agree, where there are fewer than three, or where taking one away does not help.
    """
    if len(values) < 3 or max(values) - min(values) <= critical_range(len(values), repeatability_sd):
        return None
    middle = median(values)
    worst = max(range(len(values)), key=lambda index: abs(values[index] - middle))
    rest = [value for index, value in enumerate(values) if index != worst]
    return worst if max(rest) - min(rest) <= critical_range(len(rest), repeatability_sd) else None
