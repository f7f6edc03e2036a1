from __future__ import annotations

import numpy as np
import pytest

from axledger_simulators.noise import Shape, heavy_noise, rounded, unit_draw


def test_stated_standard_deviation_and_heavier_tails() -> None:
    rng = np.random.default_rng(3)
    drawn = np.array([heavy_noise(rng, 2.0) for _ in range(40_000)])
    assert drawn.std() == pytest.approx(2.0, rel=0.05)
    # a normal leaves 0.27 % outside three standard deviations (from memory); this one several times more
    assert np.mean(np.abs(drawn) > 6.0) > 0.006


def test_rounding_to_a_step() -> None:
    assert rounded(4.31849, 0.001) == pytest.approx(4.318, abs=1e-12)
    assert rounded(4.31849, 0) == 4.31849


@pytest.mark.parametrize(("shape", "beyond_two"), [("normal", 0.0455), ("uniform", 0.0), ("laplace", 0.0591)])
def test_every_shape_has_unit_spread_and_tails_of_its_own(shape: Shape, beyond_two: float) -> None:
    rng = np.random.default_rng(4)
    drawn = np.array([unit_draw(rng, shape) for _ in range(40_000)])
    assert drawn.mean() == pytest.approx(0.0, abs=0.02)
    assert drawn.std() == pytest.approx(1.0, rel=0.03)
    # share beyond two standard deviations: erfc(sqrt 2), none, exp(-2 sqrt 2); computed by hand from the densities
    assert np.mean(np.abs(drawn) > 2.0) == pytest.approx(beyond_two, abs=0.004)
