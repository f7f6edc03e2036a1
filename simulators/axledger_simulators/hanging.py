"""How a simulated target hangs: the parts of its setting error, drawn from the stated standard deviations."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from axledger.job.settings import Setting
from axledger_simulators.noise import Shape, unit_draw

__all__ = ["HungTarget"]


class HungTarget:
    """One target and its present hanging; errors in metres.

    ``along_m`` = sign * bias + seating + hub + rest + free place. A half turn flips the sign of the bias and
    draws a new seating; ``across_m`` belongs to the hanging and stays. A straightedge's two physical ends each
    have a length error (outward) and a sideways one; the turn end for end swaps them. A knock shifts the target as
    it hangs.
    """

    def __init__(
        self, setting: Setting, *, made: np.random.Generator, hung: np.random.Generator, factor: float, bent_m: float,
        shapes: Sequence[Shape] = ("normal",),
    ) -> None:  # fmt: skip
        """Draw what was made once from ``made`` (bias, ends) and what comes with the job from ``hung``.

        ``shapes`` are those of the parts' distributions, in turn: bias, ends, hub, rest, seating, across.
        """
        self._hung = hung
        self._setting = setting
        self._per_mm = factor / 1000
        self._shapes: tuple[Shape, ...] = tuple(shapes[part % len(shapes)] for part in range(6))
        self._bias_m = unit_draw(made, self._shapes[0]) * setting.bias * self._per_mm + bent_m
        ends = [unit_draw(made, self._shapes[1]) for _ in range(4)]
        self._ends_m = np.array(ends).reshape(2, 2) * setting.end * self._per_mm
        self._hub_m = self._draw(setting.hub, 2)
        self._rest_m = self._draw(setting.rest, 3)
        self.half_turns = 0
        self.version = 0  # another number whenever the target hangs otherwise than before
        self._seating_m = self._across_m = self._free_m = 0.0
        self._knocked_m = (0.0, 0.0)
        self.hang()

    def _draw(self, sd_mm: float, part: int) -> float:
        return unit_draw(self._hung, self._shapes[part]) * sd_mm * self._per_mm

    def hang(self) -> None:
        """Take the target off and hang it again the same side up: new seating, new across, new free place."""
        self.version += 1
        self._seating_m = self._draw(self._setting.seating, 4)
        self._across_m = self._draw(self._setting.across, 5)
        self._knocked_m = (0.0, 0.0)
        # bounded, as nobody hangs a rail target far from its mark; the stated figure is still its standard deviation,
        # and no worse where settings are: the readings find the place
        self._free_m = float(self._hung.uniform(-1, 1)) * math.sqrt(3) * self._setting.along * min(self._per_mm, 1e-3)

    def turn(self) -> None:
        """Turn the target by half a turn (a straightedge end for end)."""
        self.half_turns += 1
        self.version += 1
        self._seating_m = self._draw(self._setting.seating, 4)

    def knock(self, along_m: float, across_m: float) -> None:
        """Shift the target as it hangs, m; it stays so until it is hung again."""
        self.version += 1
        self._knocked_m = (self._knocked_m[0] + along_m, self._knocked_m[1] + across_m)

    @property
    def sign(self) -> int:
        """Return +1 as first hung, -1 after an odd number of half turns."""
        return -1 if self.half_turns % 2 else 1

    @property
    def along_m(self) -> float:
        """Return the present error along the vehicle (along the wheel for a straightedge), m."""
        hung_m = self._seating_m + self._hub_m + self._rest_m + self._free_m
        return self.sign * self._bias_m + hung_m + self._knocked_m[0]

    @property
    def seating_m(self) -> float:
        """Return the seating of the present hanging, m."""
        return self._seating_m

    @property
    def across_m(self) -> float:
        """Return the present error sideways, left positive, m."""
        return self._across_m + self._knocked_m[1]

    def end_m(self, *, front: bool) -> tuple[float, float]:
        """Return (outward, sideways) errors of the physical end that now stands in front or behind, m."""
        outward, sideways = self._ends_m[0 if front == (self.sign > 0) else 1]
        return float(outward), float(sideways)
