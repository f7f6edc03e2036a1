"""What else a reading may be of. The vehicle is invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.job.slip_alternatives import UNITS_TAKEN_WRONG, exchanges, mirrored_line, others_of
from axledger.job.slip_scene import Scene, scene_at, taken_shots
from axledger_simulators.beam import trace


def scene_of(bay: Any) -> Scene:
    solution = bay.fold.solution()
    return scene_at(
        bay.fold.work.stations, taken_shots(bay.fold, 1), solution.model, solution.rows, solution.adjusted.x
    )  # fmt: skip


def walk(bay: Any, instead: dict[str, float]) -> None:
    bay.level()
    while (shot := bay.fold.current()) is not None:
        if shot.id in instead:
            bay.length(instead[shot.id])
        else:
            bay.shoot()
        if bay.states()[-1] == "held":
            bay.act("accept", reason="sure of it")


def number_of(scene: Scene, name: str) -> int:
    return next(number for number, one in enumerate(scene.shots) if one.shot.id == name)


def test_a_shot_may_be_of_the_neighbour_the_other_side_or_another_unit(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=3)
    walk(bay, {})
    scene = scene_of(bay)
    slips = {other.slip for other in others_of(scene, number_of(scene, "K>T1Ri"))}
    assert {"neighbour", "swap", "unit", "other shot"} <= slips
    mirrored = mirrored_line(scene, number_of(scene, "K>T1Ri"), ["T1Ri"])
    assert (mirrored.start, mirrored.end) == ("K", "T1Li")


def test_the_foot_is_the_international_one() -> None:
    # international yard and pound agreement, 1959
    assert UNITS_TAKEN_WRONG["ft"] == pytest.approx(0.3048, abs=0)
    assert UNITS_TAKEN_WRONG["in"] * 12 == pytest.approx(UNITS_TAKEN_WRONG["ft"])


def test_readings_of_a_mirrored_pair_that_were_exchanged_fit_far_better_put_back(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=18)
    left, right = (trace(bay.vehicle, *ends).distance_m for ends in (("T1Li", "T2Ri"), ("T1Ri", "T2Li")))
    walk(bay, {"T1Li>T2Ri": right, "T1Ri>T2Li": left})
    scene = scene_of(bay)
    best = max(exchanges(scene, 10.0), key=lambda guess: guess.drop)
    assert {scene.shots[number].shot.id for number in best.shots} == {"T1Li>T2Ri", "T1Ri>T2Li"}
    assert best.drop > 50.0
