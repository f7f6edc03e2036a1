"""A simulated distance meter: true lengths in, bytes out, errors of its own drawn from a seed. No clock, no port."""

from __future__ import annotations

import math

import numpy as np

from axledger_simulators.fault_script import FaultScript
from axledger_simulators.line_form import LineForm, form_named
from axledger_simulators.noise import heavy_noise, rounded

__all__ = ["DistanceMeter"]

_ZERO_SD_M = 0.0010
_TILT_SD_DEG = 0.02
_GOOD_QUALITY, _WEAK_QUALITY = 93, 2410  # small is good on this kind of device; invented figures


class DistanceMeter:
    """One meter. ``reading = true * (1 + scale) + zero + noise``, rounded to its display step.

    ``zero_m`` is drawn with sd 1.0 mm unless given; ``scale`` is a pure number (1e-4 is 0.1 mm per metre).
    ``shots`` counts the measurements made, failed and lost ones included.
    """

    def __init__(
        self,
        seed: int,
        *,
        form: str = "metre-line",
        repeatability_m: float = 0.0007,
        zero_m: float | None = None,
        scale: float = 0.0,
        faults: FaultScript | None = None,
    ) -> None:
        """Draw the meter; raise ``UnknownName`` for a form that is not in ``line_form.FORMS``."""
        self._rng = np.random.default_rng([seed, 10])
        drawn_m = float(self._rng.normal(0.0, _ZERO_SD_M))
        self.form: LineForm = form_named(form)
        self.zero_m = drawn_m if zero_m is None else zero_m
        self.scale = scale
        self.repeatability_m = repeatability_m
        self.faults = faults or FaultScript()
        self.shots = 0

    def shoot(self, true_m: float, *, tilt_rad: float = 0.0) -> bytes:
        """Measure ``true_m`` and return the bytes that arrive (none for a dropped line).

        ``tilt_rad`` is the true inclination of the beam, sent only by forms that carry one.
        """
        self.shots += 1
        shown_m = self.measure(true_m)
        tilt_deg = rounded(math.degrees(tilt_rad) + heavy_noise(self._rng, _TILT_SD_DEG), 0.01)
        quality = self._quality()
        flip_at = int(self._rng.integers(1 << 16))
        if self.faults.due(self.faults.device_fault, self.shots):
            line = self.form.failed(counter=self.shots)
        else:
            line = self.form.measured(length_m=shown_m, tilt_deg=tilt_deg, quality=quality, counter=self.shots)
        return self.faults.on_the_wire(line, self.shots, flip_at=flip_at)

    def measure(self, true_m: float) -> float:
        """Return what the display shows for ``true_m``, m; never below zero."""
        noisy_m = true_m * (1 + self.scale) + self.zero_m + heavy_noise(self._rng, self.repeatability_m)
        return max(0.0, rounded(noisy_m, self.form.resolution_m))

    def answer(self, command: bytes, true_m: float) -> bytes:
        """Return what a polled device sends after ``command``: a measurement for ``D``, nothing otherwise."""
        return self.shoot(true_m) if command.strip() == b"D" else b""

    def _quality(self) -> int:
        spread = float(self._rng.normal(0.0, 0.12))
        weak = self.faults.due(self.faults.weak, self.shots)
        return min(9999, round((_WEAK_QUALITY if weak else _GOOD_QUALITY) * math.exp(spread)))
