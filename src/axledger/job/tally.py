"""The counter that always adds up: where every arrival went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from axledger.job.board import Place

__all__ = ["PARTS", "Tally"]

PARTS = ("accepted", "held", "refused", "set aside", "unassigned", "repeat", "backlog", "not a reading")
"""Where a received frame can be. "set aside" is what a person undid or retook: it was accepted once."""


@dataclass(frozen=True, slots=True)
class Tally:
    """Frames that made no reading; readings are counted from where they stand.

    ``refused``: the device could not measure, or what it sent cannot be understood. ``not_a_reading``: a status, an
    echo, a held value.
    """

    not_a_reading: int = 0
    refused: int = 0

    def plus(self, *, refused: bool) -> Tally:
        """Return the tally with one more frame that made no reading."""
        return Tally(self.not_a_reading + (not refused), self.refused + refused)

    def with_places(self, places: Mapping[int, Place]) -> dict[str, int]:
        """Return ``received`` and its parts."""
        counts = dict.fromkeys(PARTS, 0)
        for place in places.values():
            counts[place.state] += 1
        counts["not a reading"] += self.not_a_reading
        counts["refused"] += self.refused
        return {"received": sum(counts.values()), **counts}
