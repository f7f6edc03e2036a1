"""Slips of unknown size. The vehicle is invented."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from axledger.job.slip_guesses import free_guesses, free_score, log_uniform, single_guesses
from axledger.job.slip_scene import Scene, scene_at, taken_shots


@pytest.fixture
def past(make_bay: Callable[..., Any]) -> Any:
    """A walk in which one beam went 1.1 m past its target and was accepted."""
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=3)
    bay.level()
    while (shot := bay.fold.current()) is not None:
        if shot.id == "K>T1Rh":
            bay.length(bay.truth_m(shot) + 1.1)
        else:
            bay.shoot()
        if bay.states()[-1] == "held":
            bay.act("accept", reason="sure of it")
    return bay


def scene_of(bay: Any) -> Scene:
    solution = bay.fold.solution()
    return scene_at(
        bay.fold.work.stations, taken_shots(bay.fold, 1), solution.model, solution.rows, solution.adjusted.x
    )  # fmt: skip


def test_one_shot_is_given_the_kinds_that_its_size_fits(past: Any) -> None:
    scene = scene_of(past)
    number = next(number for number, one in enumerate(scene.shots) if one.shot.id == "K>T1Rh")
    guesses = {guess.slip: guess for guess in single_guesses(scene, number)}
    assert "past target" in guesses
    assert "in the beam" not in guesses
    assert guesses["past target"].size == pytest.approx(1.1, abs=0.05)


def test_the_suspect_is_the_shot_that_is_wrong(past: Any) -> None:
    scene = scene_of(past)
    best = max(free_guesses(scene, least=15.0), key=lambda guess: guess.score)
    assert scene.shots[best.shots[0]].shot.id == "K>T1Rh"


def test_a_density_even_in_the_logarithm_adds_up_to_one_half_on_either_side() -> None:
    least, most = 0.001, 1.0
    span = math.log(most / least)
    sizes = [least * math.exp(span * (step + 0.5) / 20_000) for step in range(20_000)]
    total = sum(size * span / 20_000 / (2.0 * size * span) for size in sizes)
    assert total == pytest.approx(0.5)
    assert log_uniform(0.1, least, span) == pytest.approx(1.0 / (2.0 * 0.1 * span))
    assert log_uniform(-0.1, least, span) == log_uniform(0.1, least, span)


def test_a_wider_prior_costs_more() -> None:
    assert free_score(30.0, 1.0, 1e-6, 7.0) > free_score(30.0, 0.1, 1e-6, 7.0)
    assert free_score(30.0, 1.0, 1e-6, 7.0) == pytest.approx(30.0 + math.log(2 * math.pi * 1e-6) - 7.0)
