"""What the tests of slips look at, made from a clean walk. The vehicle is invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from axledger.job.slip_scene import Scene, robust, scene_at, settled, taken_shots, without


@pytest.fixture
def walked(make_bay: Callable[..., Any]) -> Any:
    bay = make_bay(layout="semitrailer-2axle", repeats=2, seed=3)
    bay.level()
    while bay.fold.current() is not None:
        bay.shoot()
    return bay


def scene_of(bay: Any) -> Scene:
    solution = bay.fold.solution()
    return scene_at(
        bay.fold.work.stations, taken_shots(bay.fold, 1), solution.model, solution.rows, solution.adjusted.x
    )  # fmt: skip


def test_repeats_of_a_shot_are_one_and_come_in_the_order_of_the_walk(walked: Any) -> None:
    shots = taken_shots(walked.fold, 1)
    assert [one.shot.id for one in shots] == [shot.id for shot in walked.fold.shots()]
    for one in shots:
        quantity = walked.fold.quantity_of(one.shot)
        values = [walked.fold.readings[number].values[quantity][0] for number in one.numbers]
        assert len(values) == 2
        assert one.value == pytest.approx(sum(values) / 2)


def test_where_the_network_stands_nothing_is_left_to_step(walked: Any) -> None:
    scene = scene_of(walked)
    assert float(np.max(np.abs(scene.linear.step / scene.model.prior_sd))) < 1e-3
    again = settled(scene)
    assert again.x + again.linear.step == pytest.approx(scene.x + scene.linear.step, abs=1e-7)


def test_shots_left_out_are_gone(walked: Any) -> None:
    scene = scene_of(walked)
    fewer = without(scene, [0, 5])
    assert len(fewer.shots) == len(scene.shots) - 2
    assert scene.shots[5] not in fewer.shots


def test_a_robust_start_leaves_clean_readings_nearly_where_they_are(walked: Any) -> None:
    scene = scene_of(walked)
    apart = (robust(scene).x - scene.x) / scene.model.prior_sd
    assert float(np.max(np.abs(apart))) < 1.0
