"""The search for the slips that explain a walk. The vehicle is invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from axledger.job.findings import least_drop_of
from axledger.job.slip_scene import Scene, scene_at, taken_shots
from axledger.job.slip_search import is_quiet, search


def walked(make_bay: Callable[..., Any], wrong: dict[str, float]) -> tuple[Any, Scene]:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=3)
    bay.level()
    while (shot := bay.fold.current()) is not None:
        if shot.id in wrong:
            bay.length(bay.truth_m(shot) * wrong[shot.id])
        else:
            bay.shoot()
        if bay.states()[-1] == "held":
            bay.act("accept", reason="sure of it")
    solution = bay.fold.solution()
    return bay, scene_at(
        bay.fold.work.stations, taken_shots(bay.fold, 1), solution.model, solution.rows, solution.adjusted.x,
        covariance=solution.adjusted.covariance,
    )  # fmt: skip


def test_a_clean_walk_is_quiet(make_bay: Callable[..., Any]) -> None:
    bay, scene = walked(make_bay, {})
    assert is_quiet(scene, least_drop_of(scene))
    assert search(scene, bay.fold.work.solver, least_drop_of(scene)) == ()


def test_a_slip_is_found_and_what_is_left_is_quiet(make_bay: Callable[..., Any]) -> None:
    bay, scene = walked(make_bay, {"K>T1Rh": 1 / 0.3048})
    found = search(scene, bay.fold.work.solver, least_drop_of(scene))
    assert not is_quiet(scene, least_drop_of(scene))
    named = {scene.shots[number].shot.id: one.best.slip for one in found for number in one.best.shots}
    assert named == {"K>T1Rh": "unit"}


def test_two_slips_are_found_one_after_the_other(make_bay: Callable[..., Any]) -> None:
    """No move of a vehicle explains metres, however many shots it could blame."""
    bay, scene = walked(make_bay, {"K>T1Rh": 1 / 0.3048, "T1Lh>T2Lh": 1 / 0.3048})
    found = search(scene, bay.fold.work.solver, least_drop_of(scene))
    named = {scene.shots[number].shot.id: one.best.slip for one in found for number in one.best.shots}
    assert set(named) == {"K>T1Rh", "T1Lh>T2Lh"}
    # 18 m too long may as well be a wall behind the target
    assert set(named.values()) <= {"unit", "past target"}
