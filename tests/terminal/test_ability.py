from __future__ import annotations

import math
from dataclasses import replace

import pytest

from axledger.job.ability import Ability, Change
from axledger.terminal.ability import ability_lines

PLAIN = Ability(
    key="trailer.axle2.parallelism", name="axle 2: parallelism to axle 1", unit="deg", lower=-0.0008, upper=0.0008,
    u=math.radians(0.024), zone_left=0.13, perfect=0.19, half=0.13,
)  # fmt: skip
CURE = Change(
    words="turn the targets half a turn", cost="1.3 min more each job", u=math.radians(0.0155), zone_left=0.44,
    perfect=0.8, half=0.43,
)  # fmt: skip


def test_a_limit_has_its_share_and_chances_in_one_line() -> None:
    lines = ability_lines([PLAIN], width=80)
    assert lines[1].split() == ["axle", "2:", "parallelism", "to", "axle", "1", "13%", "19%", "13%"]
    assert lines[-2].startswith("perfect, half: how often")


def test_the_cheapest_help_stands_under_it() -> None:
    text = " ".join(" ".join(ability_lines([replace(PLAIN, cure=CURE)], width=90)).split())
    assert "helps most: turn the targets half a turn (1.3 min more each job): U 0.031 deg, share 44%" in text
    assert "share 44%, perfect 80%, half 43%" in text
    enough = replace(CURE, perfect=0.97)
    assert "would do: turn" in " ".join(ability_lines([replace(PLAIN, cure=enough)], width=90))


def test_where_nothing_helps_it_says_what_was_tried() -> None:
    text = " ".join(" ".join(ability_lines([PLAIN])).split())
    assert "nothing tried here would help: repeats, turns, the other procedures, enrolled targets" in text


def test_what_is_sure_has_no_words_under_it() -> None:
    sure = replace(PLAIN, perfect=0.99, half=0.8, zone_left=0.7)
    assert len(ability_lines([sure], width=120)) == 3
    one_sided = replace(PLAIN, lower=None, perfect=None, half=None, zone_left=1.0)
    assert ability_lines([one_sided], width=120)[1].endswith("100%")


@pytest.mark.parametrize("width", [80, 100, 140])
def test_no_line_is_wider_than_asked_and_ascii_is_ascii(width: int) -> None:
    lines = ability_lines([replace(PLAIN, cure=CURE, name="x" * 90), PLAIN], width=width, unicode=False)
    assert max(map(len, lines)) <= width
    assert all(line.isascii() for line in lines)


def test_without_limits_there_are_no_lines() -> None:
    assert ability_lines([]) == ()
