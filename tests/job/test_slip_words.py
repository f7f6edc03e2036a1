"""A slip in words, with its cure. The vehicle is invented."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.job.slip_guesses import Guess
from axledger.job.slip_scene import Scene, scene_at, taken_shots
from axledger.job.slip_words import cure_of, words_of


@pytest.fixture
def scene(make_bay: Callable[..., Any]) -> Scene:
    bay = make_bay(layout="semitrailer-1axle", repeats=1, seed=3)
    bay.level()
    while bay.fold.current() is not None:
        bay.shoot()
    solution = bay.fold.solution()
    return scene_at(
        bay.fold.work.stations, taken_shots(bay.fold, 1), solution.model, solution.rows, solution.adjusted.x
    )  # fmt: skip


def guess(scene: Scene, slip: str, *names: str, size: float | None = None, **detail: Any) -> Guess:
    order = {one.shot.id: number for number, one in enumerate(scene.shots)}
    shots = tuple(order[name] for name in names)
    return Guess(slip=slip, shots=shots, drop=40.0, score=30.0, size=size, detail=detail)


@pytest.mark.parametrize(
    ("slip", "names", "size", "detail", "words"),
    [
        ("misread", ("K>T1Lh",), 0.0062, {}, "K>T1Lh is 6.2 mm too long: misread, or not aimed at the mark"),
        ("past target", ("K>T1Rh",), 1.1, {}, "K>T1Rh is 1100 mm too long: the beam went past the target"),
        ("unit", ("K>T1Rh",), None, {"unit": "ft"}, "K>T1Rh read in feet, not metres"),
        ("neighbour", ("K>T1Rh",), None, {"end": "end", "station": "T2Rh"}, "K>T1Rh: aimed at T2Rh instead of T1Rh"),
        (
            "swap", ("K>T1Lh", "K>T1Rh"), None, {"exchanged": True}, "K>T1Lh and K>T1Rh: left and right swapped",
        ),
    ],
)  # fmt: skip
def test_the_words_say_what_happened(
    scene: Scene, slip: str, names: tuple[str, ...], size: float | None, detail: dict[str, Any], words: str
) -> None:
    assert words_of(scene, guess(scene, slip, *names, size=size, **detail)) == words


def test_a_misread_shot_is_taken_again_and_an_exchanged_pair_put_back(scene: Scene) -> None:
    act, arguments, words = cure_of(scene, guess(scene, "misread", "K>T1Lh", size=0.006))
    assert (act, arguments["shot"]) == ("retake", "K>T1Lh")
    assert "K>T1Lh" in words
    act, arguments, _ = cure_of(scene, guess(scene, "swap", "K>T1Lh", "K>T1Rh", exchanged=True))
    assert act == "swap"
    assert {arguments["shot"], arguments.get("other", "K>T1Rh")} == {"K>T1Lh", "K>T1Rh"}
