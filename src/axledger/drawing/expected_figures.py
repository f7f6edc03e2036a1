"""What a result should be after the moves, as numbers for people."""

from __future__ import annotations

from axledger.contract.quantity import UNITS, from_si
from axledger.drawing.figures import rounded
from axledger.job.moves import Expected

__all__ = ["expected_figures"]

_DECIMALS = {"deg": 2, "mm": 1}
"""A forecast is not better than that: the move is confirmed by the next round, not by its decimals."""


def expected_figures(expected: Expected) -> tuple[str, str, str]:
    """Return the value now, the value expected and its expanded uncertainty (k = 2), without the unit."""
    unit, decimals = UNITS[expected.unit], _DECIMALS[expected.unit]
    now, then = (rounded(from_si(value, unit), decimals, signed=True) for value in (expected.before, expected.after))
    return now, then, rounded(from_si(2.0 * expected.u, unit), decimals)
