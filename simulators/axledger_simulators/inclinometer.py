"""A simulated inclinometer: true inclinations in, bytes out. No clock, no port."""

from __future__ import annotations

import math

import numpy as np

from axledger_simulators.fault_script import FaultScript
from axledger_simulators.noise import heavy_noise, rounded

__all__ = ["Inclinometer"]

_ZERO_SD_DEG = 0.05
_RESOLUTION_DEG = 0.01


class Inclinometer:
    """One inclinometer: ``reading = true + zero + noise`` in degrees, rounded to 0.01.

    ``zero_deg`` is drawn with sd 0.05 unless given. Turning the instrument end for end reverses the true part
    only: hand it the reversed inclination.
    """

    def __init__(
        self,
        seed: int,
        *,
        repeatability_deg: float = 0.02,
        zero_deg: float | None = None,
        faults: FaultScript | None = None,
    ) -> None:
        self._rng = np.random.default_rng([seed, 11])
        drawn_deg = float(self._rng.normal(0.0, _ZERO_SD_DEG))
        self.zero_deg = drawn_deg if zero_deg is None else zero_deg
        self.repeatability_deg = repeatability_deg
        self.faults = faults or FaultScript()
        self.shots = 0

    def shoot(self, true_rad: float) -> bytes:
        """Measure and return the bytes that arrive, for instance ``+1.27°`` and a line end in UTF-8."""
        self.shots += 1
        shown_deg = self.measure(true_rad)
        flip_at = int(self._rng.integers(1 << 16))
        failed = self.faults.due(self.faults.device_fault, self.shots)
        # adding zero turns a negative zero into a plain one, which instruments do too
        line = "OVER\r\n" if failed else f"{shown_deg + 0.0:+.2f}\N{DEGREE SIGN}\r\n"
        return self.faults.on_the_wire(line.encode("utf-8"), self.shots, flip_at=flip_at)

    def measure(self, true_rad: float) -> float:
        """Return what the display shows for ``true_rad``, degrees."""
        noisy_deg = math.degrees(true_rad) + self.zero_deg + heavy_noise(self._rng, self.repeatability_deg)
        return rounded(noisy_deg, _RESOLUTION_DEG)
