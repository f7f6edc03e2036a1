"""Turning plates: a scale of a tenth of a degree, typed with its unit."""

from __future__ import annotations

import math

import pytest

from axledger.contract.frame import Measured
from axledger_drivers.registry import decoder_for, load_profile
from axledger_simulators.turning_plates import TurningPlates


def test_what_is_typed_is_what_the_typed_profile_reads() -> None:
    plates = TurningPlates(1, repeatability_deg=0.0)
    line = plates.shoot(math.radians(20.13))
    assert line == b"20.1 deg\n"
    (frame,) = decoder_for(load_profile("typed")).feed(line, 0)
    assert isinstance(frame.outcome, Measured)
    assert frame.outcome.values[0].si == pytest.approx(math.radians(20.1))


def test_readings_scatter_as_stated() -> None:
    plates = TurningPlates(2)
    read = [float(plates.shoot(math.radians(20.0)).split()[0]) for _ in range(400)]
    spread = math.sqrt(sum((value - 20.0) ** 2 for value in read) / len(read))
    assert spread == pytest.approx(math.hypot(0.1, 0.1 / math.sqrt(12)), rel=0.15)
