from __future__ import annotations

import numpy as np
import pytest

from axledger_simulators.noise import heavy_noise, rounded


def test_stated_standard_deviation_and_heavier_tails() -> None:
    rng = np.random.default_rng(3)
    drawn = np.array([heavy_noise(rng, 2.0) for _ in range(40_000)])
    assert drawn.std() == pytest.approx(2.0, rel=0.05)
    # a normal leaves 0.27 % outside three standard deviations (from memory); this one several times more
    assert np.mean(np.abs(drawn) > 6.0) > 0.006


def test_rounding_to_a_step() -> None:
    assert rounded(4.31849, 0.001) == pytest.approx(4.318, abs=1e-12)
    assert rounded(4.31849, 0) == 4.31849
