from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import chi2

from axledger.job.scales import KINDS, alarm_at, coarse, levels_of, mean_log, prior_of, shifted
from axledger.job.settings import MountKind


@pytest.mark.parametrize("kind", KINDS)
def test_weights_are_weights_and_levels_rise(kind: MountKind) -> None:
    assert prior_of(kind).sum() == pytest.approx(1.0)
    assert (np.diff(levels_of(kind)) > 0).all()
    assert len(levels_of(kind)) % 2 == 0


def test_coarse_levels_keep_weight_and_mean_square() -> None:
    levels, weights = coarse(np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.1, 0.3, 0.6, 0.0]))
    # by hand: (0.1*1 + 0.3*4) / 0.4 = 3.25; the second pair has one level with weight
    assert levels.tolist() == pytest.approx([math.sqrt(3.25), 3.0])
    assert weights.tolist() == pytest.approx([0.4, 0.6])
    empty, _ = coarse(np.array([1.0, 2.0]), np.zeros(2))
    assert empty.tolist() == pytest.approx([math.sqrt(2.5)])


def test_evidence_shifts_weights_by_its_likelihood() -> None:
    prior = {MountKind.RAIL: (0.25, 0.25, 0.25, 0.25)}
    new = shifted(prior, MountKind.RAIL, np.log([1.0, 2.0, 4.0, 1.0]))
    assert new.tolist() == pytest.approx([1 / 8, 2 / 8, 4 / 8, 1 / 8])
    assert mean_log(MountKind.RAIL, new) == pytest.approx(float(new @ np.log([1.0, 1.4, 2.0, 2.9])))


@pytest.mark.parametrize("freedom", [2, 4, 8, 30])
def test_settings_as_stated_exceed_the_alarm_in_one_of_a_hundred(freedom: int) -> None:
    """Exactly: the mean of ln factor rises with the mean square, so the alarm is at its 99 % point (scipy)."""
    square = chi2.ppf(0.99, freedom) / freedom
    levels = levels_of(MountKind.HUB)
    score = -freedom * (np.log(levels) + square / (2 * levels**2))
    weights = shifted({MountKind.HUB: tuple(prior_of(MountKind.HUB))}, MountKind.HUB, score)
    assert alarm_at(MountKind.HUB, freedom) == pytest.approx(mean_log(MountKind.HUB, weights), abs=0.01)


def test_with_less_than_one_error_seen_there_is_no_alarm() -> None:
    assert alarm_at(MountKind.HUB, 0.9) == math.inf
