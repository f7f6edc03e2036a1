"""Lines are values: equal where they are the same line, and sorted the same way in every run."""

from __future__ import annotations

from axledger.job.lines import Sight, Tilt


def test_a_line_is_told_from_others_by_all_it_names() -> None:
    assert Sight("K", "T1Lh") == Sight("K", "T1Lh", 0, 0)
    assert len({Sight("K", "T1Lh"), Sight("K", "T1Lh", 0, 1), Sight("K", "T1Lh", 0, 1)}) == 2
    assert Tilt("tractor", "face", "S1Lh") != Tilt("tractor", "face", "S1Rh")
    assert Tilt("tractor", "along") == Tilt("tractor", "along", "")


def test_lines_have_an_order_of_their_own() -> None:
    lines = [
        Tilt("tractor", "face", "S1Rh"),
        Sight("F0L", "S1Lf", 0, 1),
        Tilt("tractor", "along"),
        Sight("F0L", "S1Lf"),
    ]
    assert sorted(lines, key=repr) == [lines[3], lines[1], lines[2], lines[0]]
