"""A simulated pair of turning plates: a person reads the scale and types what it shows."""

from __future__ import annotations

import math

import numpy as np

from axledger_simulators.noise import heavy_noise, rounded

__all__ = ["TurningPlates"]


class TurningPlates:
    """Plates with a scale of 0.1 degree, read to ``repeatability_deg``; their zeros belong to how they are laid."""

    def __init__(self, seed: int, *, repeatability_deg: float = 0.1, resolution_deg: float = 0.1) -> None:
        self._rng = np.random.default_rng([seed, 12])
        self.repeatability_deg = repeatability_deg
        self.resolution_deg = resolution_deg

    def shoot(self, true_rad: float) -> bytes:
        """Read the scale and return the typed line, for instance ``20.1 deg``."""
        read_deg = math.degrees(true_rad) + heavy_noise(self._rng, self.repeatability_deg)
        return f"{rounded(read_deg, self.resolution_deg) + 0.0:.1f} deg\n".encode()
