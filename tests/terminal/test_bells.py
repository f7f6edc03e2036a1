from __future__ import annotations

import io

import pytest

from axledger.job.fold import Happening
from axledger.terminal.bells import Bells, rings_for


@pytest.mark.parametrize(
    ("kind", "words", "rings"),
    [
        ("accepted", "", 1),
        ("held", "far off", 2),
        ("refused", "no target", 3),
        ("link", "meter-a: link lost (gone)", 4),
        ("link", "meter-a: link silent", 4),
        ("link", "meter-a: link recovered", 0),
        ("act", "undone", 0),
        ("noted", "battery", 0),
    ],
)
def test_each_happening_has_its_own_count(kind: str, words: str, rings: int) -> None:
    assert rings_for([Happening(kind, words)]) == rings


def test_the_worst_counts_and_nothing_is_silent() -> None:
    assert rings_for([Happening("accepted", ""), Happening("refused", "x"), Happening("held", "y")]) == 3
    assert rings_for([]) == 0


def test_a_slip_that_is_newly_suspected_rings_like_a_held_reading() -> None:
    assert rings_for([Happening("accepted", "")], suspected=True) == 2
    assert rings_for([Happening("refused", "x")], suspected=True) == 3


def test_bells_are_spaced_and_signals_parted() -> None:
    stream, waits = io.StringIO(), list[float]()
    bells = Bells(stream, gap_s=0.2, wait=waits.append)
    bells.ring(2)
    bells.ring(0)
    bells.ring(1)
    bells.stop()
    assert stream.getvalue() == "\a\a\a"
    assert waits == [0.2, 0.2, 0.4, 0.2, 0.4]
    bells.stop()
