"""Layout files whose fields are in order and that cannot be measured: refused in words, at their line, with a cure."""

from __future__ import annotations

import pytest

from axledger.contract.errors import BadFile
from axledger.job.layout import Layout, parse_layout, stations_of
from axledger.job.layout_faults import unit_faults

# Invented for these tests.
GOOD = """\
schema = 1
name = "own"
title = "Own"
source = "invented"

[[unit]]
id = "truck"
name = "truck"
kind = "powered"
reference = "frame"

[[unit.axle]]
code = "S1"
id = "steer"
name = "steer axle"
kind = "steer"
x_m = 0.0
group = "front"
wheel_half_m = 1.0
pivot_half_m = 0.8

[[unit.axle]]
code = "D1"
id = "drive"
name = "drive axle"
kind = "driven"
x_m = -4.0
group = "rear"
wheel_half_m = 0.9

[[unit.mount]]
kind = "straightedge"
axle = "S1"
half_span_m = 1.25
half_length_m = 0.6

[[unit.mount]]
kind = "hub"
axle = "D1"
half_span_m = 1.35

[[unit.mount]]
kind = "rail"
code = "F0"
x_m = 0.9
half_span_m = 0.45

[[unit.mount]]
kind = "rail"
code = "F2"
x_m = -3.0
half_span_m = 0.47

[[unit.stand]]
at = "F0L"
shots = [{ to = "D1Lh" }, { to = "F2L" }]

[[unit.stand]]
at = "D1Lh"
turn = ["D1Lh"]
shots = [{ to = "S1Lh" }]

[[unit.stand]]
at = "F2R"
shots = [{ to = "S1Rr", when = ["short", "default", "thorough"] }]
"""


def line_of(words: str, times: int = 1, text: str = GOOD) -> int:
    return [number for number, line in enumerate(text.splitlines(), start=1) if words in line][times - 1]


def refused(text: str) -> BadFile:
    with pytest.raises(BadFile) as caught:
        parse_layout(text, path="own.toml")
    return caught.value


def test_the_layout_the_faults_are_made_in_has_none() -> None:
    (unit,) = parse_layout(GOOD, path="own.toml").unit
    assert list(unit_faults(unit, stations_of(unit))) == []


CASES = [
    # what is changed to what, the line that must be named, words of the fault, words of the cure
    ("wheel_half_m = 0.9\n", "", line_of("[[unit.axle]]", 2), "axle D1 has no track", "enter wheel_half_m"),
    ("wheel_half_m = 0.9", "wheel_half_m = 0", line_of("[[unit.axle]]", 2), "axle D1 has no track",
     "half the distance"),
    ("x_m = -3.0\nhalf_span_m = 0.47", "x_m = 0.903\nhalf_span_m = 0.451", line_of("[[unit.mount]]", 4),
     "F0L and F2L stand at one place (nearer than 5 mm)", "move one of the mounts"),
    ('{ to = "S1Lh" }', '{ to = "S1Lh" }, { to = "D1Lh" }', line_of('to = "S1Lh"'),
     "shot D1Lh>D1Lh ends where it starts", "name the station to aim at"),
    ('{ to = "S1Lh" }', '{ to = "S1Lh" }, { start = "S1Lf", to = "S1Lr" }', line_of('to = "S1Lh"'),
     "S1Lf>S1Lr starts and ends at one target (S1L)", "aim at a station of another target"),
    ('turn = ["D1Lh"]', 'turn = ["D1Lh", "D1Rh"]', line_of("turn ="),
     "stand D1Lh turns D1Rh, but no later shot of the default walk looks there", "take the turn out"),
    ('turn = ["D1Lh"]\nshots = [{ to = "S1Lh" }]', 'turn = ["D1Lh"]', line_of("turn ="),
     "stand D1Lh turns D1Lh and takes no shot", "name one that looks there"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "words", "cure"), CASES, ids=[case[3][:40] for case in CASES])
def test_a_fault_is_named_with_its_line_and_its_cure(old: str, new: str, line: int, words: str, cure: str) -> None:
    assert GOOD.count(old) == 1
    error = refused(GOOD.replace(old, new))
    told = dict(error.faults)
    assert line in told, told
    assert words in told[line]
    assert cure in told[line]
    assert "axledger layouts check FILE" in error.do


MOUNTS = [
    ('kind = "hub"\naxle = "D1"', 'kind = "inboard"\naxle = "S1"', line_of("[[unit.axle]]", 2),
     "no target hangs on drive axle (D1)", "give it a mount (hub)"),
    ('kind = "straightedge"\naxle = "S1"\nhalf_span_m = 1.25\nhalf_length_m = 0.6',
     'kind = "hub"\naxle = "S1"\nhalf_span_m = 1.25', line_of("[[unit.mount]]"),
     "a hub target on S1 swings with the steered wheel", "put a straightedge mount there"),
    ('kind = "hub"\naxle = "D1"\nhalf_span_m = 1.35',
     'kind = "straightedge"\naxle = "D1"\nhalf_span_m = 1.35\nhalf_length_m = 0.5', line_of("[[unit.mount]]", 2),
     "the wheels of D1 do not steer", "put a hub mount there"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "words", "cure"), MOUNTS, ids=[case[3][:40] for case in MOUNTS])
def test_a_target_that_cannot_tell_what_it_must_is_refused(
    old: str, new: str, line: int, words: str, cure: str
) -> None:
    rails_only = GOOD[: GOOD.index("[[unit.stand]]")] + '[[unit.stand]]\nat = "F0L"\nshots = [{ to = "F2L" }]\n'
    told = dict(refused(rails_only.replace(old, new)).faults)
    assert words in told[line]
    assert cure in told[line]


def test_a_steer_axle_without_a_straightedge_is_told_what_is_missing() -> None:
    bare = GOOD.replace('kind = "straightedge"\naxle = "S1"\nhalf_span_m = 1.25\nhalf_length_m = 0.6\n',
                        'kind = "inboard"\naxle = "S1"\nhalf_span_m = 0.6\n')  # fmt: skip
    bare = bare.replace('{ to = "S1Lh" }', '{ to = "S1Li" }').replace('to = "S1Rr"', 'to = "S1Ri"')
    (words,) = [words for line, words in refused(bare).faults if line == line_of("[[unit.axle]]")]
    assert "where the wheels of steer axle (S1) point: a steer axle needs a straightedge mount" in words


def test_a_turn_in_a_walk_that_passes_its_stand_by_is_none() -> None:
    """The stand at D1Lh has no shot of the short walk: its target stays as it is, and nothing is wrong."""
    text = GOOD.replace('turn = ["D1Lh"]\n', 'when = ["short", "default"]\nturn = ["D1Lh"]\n')
    assert parse_layout(text, path="own.toml").unit[0].stand[1].turn == ("D1Lh",)
    taken = text.replace('[{ to = "S1Lh" }]', '[{ to = "S1Lh" }, { start = "F2L", to = "S1Lr", when = ["short"] }]')
    ((line, words),) = refused(taken).faults
    assert line == line_of("turn =", text=taken)
    assert "no later shot of the short walk looks there" in words


def test_several_faults_are_named_at_once_in_the_order_of_the_file() -> None:
    bad = GOOD.replace("x_m = -3.0\nhalf_span_m = 0.47", "x_m = 0.9\nhalf_span_m = 0.45")
    bad = bad.replace('turn = ["D1Lh"]', 'turn = ["D1Rh"]')
    assert [line for line, _ in refused(bad).faults] == [line_of("[[unit.mount]]", 4), line_of("turn =")]


def test_a_layout_that_a_job_holds_is_not_judged_again() -> None:
    """What the ledger keeps stays readable, whatever later versions refuse in a file."""
    layout = parse_layout(GOOD, path="own.toml")
    kept = layout.model_dump(mode="json", by_alias=True)
    kept["unit"][0]["stand"][1]["turn"] = ["D1Rh"]
    assert Layout.model_validate(kept).unit[0].stand[1].turn == ("D1Rh",)
