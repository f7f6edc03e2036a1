from __future__ import annotations

import numpy as np
import pytest

from axledger_calibration.cusum import LIMIT, SINGLE, SLACK, Sums, watched


def test_sums_by_hand() -> None:
    # slack 0.75: 1.0 -> 0.25; then 2.0 -> 0.25 + 1.25 = 1.5; then -1.0 -> 1.5 - 1.75 < 0 -> 0, downward 0.25
    assert (SLACK, LIMIT, SINGLE) == (0.75, 4.5, 3.7)
    assert Sums().after(1.0) == Sums(0.25, 0.0, False)
    assert watched([1.0, 2.0]).high == pytest.approx(1.5)
    assert watched([1.0, 2.0, -1.0]) == Sums(0.0, 0.25, False)


def test_a_lasting_shift_gives_the_alarm_where_single_values_do_not() -> None:
    # 2.5 each: 1.75, 3.5, 5.25 > 4.5 at the third
    assert not watched([2.5, 2.5]).alarm
    assert watched([2.5, 2.5, 2.5]).alarm
    assert watched([-2.5] * 3).alarm


def test_one_value_far_out_gives_it_alone_and_it_stays() -> None:
    assert watched([3.71]).alarm
    assert not watched([3.69]).alarm
    assert watched([-3.8, 0.0, 0.0, 0.0]).alarm


def test_counted_the_other_way_the_sums_change_places() -> None:
    forward = watched([1.0, 2.0, 0.3])
    assert watched([-1.0, -2.0, -0.3]) == forward.turned
    assert forward.turned.turned == forward


def test_false_alarms_are_rare() -> None:
    """Two in a hundred targets over 20 values of nothing but noise; simulated, 4000 targets."""
    draws = np.random.default_rng(2).normal(size=(4000, 20))
    share = np.mean([watched(row.tolist()).alarm for row in draws])
    assert 0.005 < share < 0.025
