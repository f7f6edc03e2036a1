"""Noise with heavier tails than a normal of the same standard deviation."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["heavy_noise", "rounded"]

_DEGREES = 5
_TO_UNIT_SD = math.sqrt((_DEGREES - 2) / _DEGREES)  # a Student t with v degrees has variance v / (v - 2); textbook


def heavy_noise(rng: np.random.Generator, sd: float) -> float:
    """Draw from a Student t with 5 degrees of freedom, scaled to standard deviation ``sd``."""
    return float(rng.standard_t(_DEGREES)) * _TO_UNIT_SD * sd


def rounded(value: float, step: float) -> float:
    """Return ``value`` rounded to whole ``step``; 0 leaves it alone."""
    return value if step == 0 else round(value / step) * step
