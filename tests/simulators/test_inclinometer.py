from __future__ import annotations

import math

import numpy as np
import pytest

from axledger_simulators.fault_script import FaultScript
from axledger_simulators.inclinometer import Inclinometer


def _exact(zero_deg: float = 0.0, faults: FaultScript | None = None) -> Inclinometer:
    return Inclinometer(1, repeatability_deg=0.0, zero_deg=zero_deg, faults=faults)


@pytest.mark.parametrize(
    ("true_deg", "expected"),
    [(1.274, b"+1.27\xc2\xb0\r\n"), (-0.32, b"-0.32\xc2\xb0\r\n"), (-0.001, b"+0.00\xc2\xb0\r\n")],
)  # the degree sign is C2 B0 in UTF-8 (from memory)
def test_an_exact_inclinometer_by_hand(true_deg: float, expected: bytes) -> None:
    assert _exact().shoot(math.radians(true_deg)) == expected


def test_reversal_separates_zero_from_slope() -> None:
    level = _exact(zero_deg=0.07)
    one, other = (level.measure(math.radians(deg)) for deg in (0.55, -0.55))
    # computed by hand: 0.62 and -0.48
    assert ((one - other) / 2, (one + other) / 2) == pytest.approx((0.55, 0.07))


def test_zero_and_repeatability_have_the_stated_spread() -> None:
    assert np.std([Inclinometer(seed).zero_deg for seed in range(1000)]) == pytest.approx(0.05, rel=0.1)
    level = Inclinometer(4, zero_deg=0.0)
    # computed by root sum of squares: 0.02 with rounding 0.01/sqrt(12) -> 0.0202
    assert np.std([level.measure(0.01) for _ in range(4000)]) == pytest.approx(0.0202, rel=0.1)


def test_faults_are_played() -> None:
    level = _exact(faults=FaultScript(device_fault=2))
    assert [level.shoot(0.0)[:4] for _ in range(2)] == [b"+0.0", b"OVER"]
