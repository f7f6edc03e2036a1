from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import studentized_range

from axledger_calibration.repeatability import critical_range, odd_one_out


@pytest.mark.parametrize(
    ("count", "factor"),
    # ISO 5725-6:1994, table of critical range factors, from memory
    [(2, 2.8), (3, 3.3), (4, 3.6), (5, 3.9), (6, 4.0), (7, 4.2), (8, 4.3), (9, 4.4), (10, 4.5)],
)
def test_critical_range_factors(count: int, factor: float) -> None:
    assert critical_range(count, 0.001) == pytest.approx(factor * 0.001, rel=1e-12)
    # second method: the 95 % point of the range of a normal sample with known standard deviation (scipy)
    assert studentized_range.ppf(0.95, count, np.inf) == pytest.approx(factor, abs=0.051)


def test_more_than_ten_repeats_are_held_to_the_range_of_ten() -> None:
    assert critical_range(25, 2.0) == critical_range(10, 2.0) == 9.0


@pytest.mark.parametrize(
    ("values", "odd"),
    [
        pytest.param([], None, id="none"),
        pytest.param([5.0], None, id="one"),
        pytest.param([5.0, 9.0], None, id="two that differ: neither can be told from the other"),
        pytest.param([5.0, 5.1, 8.29], None, id="three that agree, just within the bound"),
        pytest.param([5.0, 5.1, 8.31], 2, id="three, the last odd"),
        pytest.param([1.0, 5.0, 5.1], 0, id="three, the first odd"),
        pytest.param([5.0, 1.0, 5.1, 5.2], 1, id="four, the second odd"),
        pytest.param([0.0, 5.0, 10.0], None, id="three that all differ"),
        pytest.param([0.0, 0.1, 9.0, 9.1], None, id="two against two"),
        pytest.param([5.0, 5.1, 5.2, 5.0, 9.5], 4, id="five, the last odd"),
    ],
)
def test_odd_one_out(values: list[float], odd: int | None) -> None:
    # computed by hand with the factors above and a repeatability of 1
    assert odd_one_out(values, 1.0) == odd


@given(st.lists(st.floats(-5.0, 5.0), min_size=3, max_size=8), st.floats(-100.0, 100.0))
def test_shift_and_mirror_name_the_same_one(values: list[float], shift: float) -> None:
    grid = [round(value, 2) for value in values]  # rounding, so that no shift moves a value across the bound
    odd = odd_one_out(grid, 0.9973)
    assert odd_one_out([value + round(shift) for value in grid], 0.9973) == odd
    if odd is not None:
        rest = [value for number, value in enumerate(grid) if number != odd]
        assert max(rest) - min(rest) <= critical_range(len(rest), 0.9973)
        assert max(grid) - min(grid) > critical_range(len(grid), 0.9973)


def test_about_one_honest_pair_in_twenty_differs_by_more() -> None:
    # 95 % by design; seed 2026, 20000 pairs, three standard errors are 0.0046; 2.8 is 2.772 rounded up: 0.0477
    pairs = np.random.default_rng(2026).normal(size=(20_000, 2))
    share = float(np.mean(np.abs(pairs[:, 0] - pairs[:, 1]) > critical_range(2, 1.0)))
    assert share == pytest.approx(0.0477, abs=0.0046)
