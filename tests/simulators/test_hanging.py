from __future__ import annotations

import numpy as np
import pytest

from axledger.job.settings import DEFAULT_SETTINGS, MountKind, Setting
from axledger_simulators.hanging import HungTarget


def _hung(setting: Setting, seed: int = 1, bent_m: float = 0.0) -> HungTarget:
    made, hung = np.random.default_rng([seed, 1]), np.random.default_rng([seed, 2])
    return HungTarget(setting, made=made, hung=hung, factor=1.0, bent_m=bent_m)


def test_half_turn_pair_mean_removes_the_bias_exactly() -> None:
    target = _hung(Setting(bias=0.4, hub=0.2))
    first = target.along_m
    target.turn()
    bare = _hung(Setting(hub=0.2))
    assert first != pytest.approx(bare.along_m, abs=1e-6)
    assert (first + target.along_m) / 2 == pytest.approx(bare.along_m, abs=1e-18)


def test_a_bend_turns_with_the_target() -> None:
    target = _hung(Setting(), bent_m=0.002)
    assert target.along_m == 0.002
    target.turn()
    assert target.along_m == -0.002


def test_a_turn_draws_a_new_seating_and_keeps_across() -> None:
    target = _hung(DEFAULT_SETTINGS[MountKind.HUB])
    seating_m, across_m = target.seating_m, target.across_m
    target.turn()
    assert target.seating_m != seating_m
    assert target.across_m == across_m
    target.hang()
    assert target.across_m != across_m
    assert target.half_turns == 1


def test_end_for_end_swaps_the_physical_ends() -> None:
    target = _hung(Setting(end=0.15))
    front, rear = target.end_m(front=True), target.end_m(front=False)
    assert front != rear
    target.turn()
    assert (target.end_m(front=True), target.end_m(front=False)) == (rear, front)


def test_parts_have_the_stated_standard_deviations() -> None:
    setting = Setting(bias=0.4, seating=0.2, hub=0.15, rest=0.15, across=1.0, end=0.15)
    targets = [_hung(setting, seed) for seed in range(2000)]
    # computed by root sum of squares: 0.4, 0.2, 0.15, 0.15 -> 0.495
    assert np.std([t.along_m for t in targets]) * 1000 == pytest.approx(0.495, rel=0.08)
    assert np.std([t.across_m for t in targets]) * 1000 == pytest.approx(1.0, rel=0.08)
    assert np.std([t.end_m(front=True) for t in targets]) * 1000 == pytest.approx(0.15, rel=0.08)


def test_a_knock_stays_until_the_target_is_hung_again() -> None:
    target = _hung(Setting(bias=0.4))
    along_m, version = target.along_m, target.version
    target.knock(0.003, -0.002)
    assert target.along_m == pytest.approx(along_m + 0.003, abs=1e-15)
    assert target.across_m == -0.002
    assert target.version != version
    target.hang()
    assert target.along_m == along_m
    assert target.across_m == 0.0


def test_other_shapes_keep_to_their_bounds() -> None:
    made, hung = np.random.default_rng(1), np.random.default_rng(2)
    targets = [
        HungTarget(Setting(bias=1.0), made=made, hung=hung, factor=1.0, bent_m=0.0, shapes=("uniform",))
        for _ in range(200)
    ]
    # a uniform of standard deviation 1 mm ends at sqrt(3) mm; computed by hand
    assert 0.0016 < max(abs(target.along_m) for target in targets) <= 0.0017321
