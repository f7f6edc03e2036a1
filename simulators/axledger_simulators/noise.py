"""Noise with heavier tails than a normal of the same standard deviation, and errors of other shapes."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

__all__ = ["Shape", "heavy_noise", "rounded", "unit_draw"]

Shape = Literal["normal", "uniform", "laplace"]

_DEGREES = 5
_TO_UNIT_SD = math.sqrt((_DEGREES - 2) / _DEGREES)  # a Student t with v degrees has variance v / (v - 2); textbook


def heavy_noise(rng: np.random.Generator, sd: float) -> float:
    """Draw from a Student t with 5 degrees of freedom, scaled to standard deviation ``sd``."""
    return float(rng.standard_t(_DEGREES)) * _TO_UNIT_SD * sd


def rounded(value: float, step: float) -> float:
    """Return ``value`` rounded to whole ``step``; 0 leaves it alone."""
    return value if step == 0 else round(value / step) * step


def unit_draw(rng: np.random.Generator, shape: Shape) -> float:
    """Draw from a distribution of ``shape`` with mean 0 and standard deviation 1."""
    match shape:
        case "normal":
            return float(rng.normal())
        case "uniform":  # of half width a: a / sqrt(3); textbook
            return float(rng.uniform(-1.0, 1.0)) * math.sqrt(3.0)
        case "laplace":  # of scale b: sqrt(2) * b; textbook
            return float(rng.laplace()) / math.sqrt(2.0)
