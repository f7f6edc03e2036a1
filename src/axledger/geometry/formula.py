"""A result as a formula of the network's parameters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from axledger.geometry.traced import Traced

__all__ = ["Formula", "ResultUnit"]

ResultUnit = Literal["deg", "mm"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Formula:
    """One result: ``key``, ``name`` in words, display ``unit``, what it is measured ``against``, and its traced value.

    The value is in rad or m. Total toe is one wheel against the other, parallelism and spacing one axle against
    another; all else is against the unit's reference line.
    """

    key: str
    name: str
    unit: ResultUnit
    against: str
    value: Traced
    coarse: float = 1.0
    """How many times the bound that a layout sets for uncertainties is allowed here."""
