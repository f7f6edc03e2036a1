from __future__ import annotations

import pytest

from axledger.drawing.plan_text import plan_text
from axledger.job.layout import Layout, Unit
from axledger.job.plan import plan_shots


@pytest.mark.parametrize(("width", "height"), [(10, 5), (34, 7), (44, 9), (120, 20)])
def test_the_plan_has_exactly_the_size_asked_for(unit: Unit, width: int, height: int) -> None:
    for ascii_only in (False, True):
        lines = plan_text(unit, width, height, unicode=not ascii_only)
        assert [len(line) for line in lines] == [width] * height
        assert not ascii_only or "".join(lines).isascii()


def _shots(unit: Unit) -> Layout:
    return Layout.model_validate({"schema": 1, "name": "one-unit", "title": "t", "source": "s", "unit": [unit]})


def test_every_shot_shows_where_to_stand_and_where_to_aim(unit: Unit) -> None:
    for shot in plan_shots(_shots(unit)):
        drawn = "".join(plan_text(unit, 44, 9, shot=shot))
        assert drawn.count("A") == 1
        if shot.kind == "distance":
            assert drawn.count("B") <= 1  # two stations may share a character; then A is the one that is seen


def test_left_stations_are_in_the_upper_half(unit: Unit) -> None:
    for shot in plan_shots(_shots(unit)):
        row = next(n for n, line in enumerate(plan_text(unit, 44, 9, shot=shot)) if "A" in line)
        if "L" in shot.start[1:3]:
            assert row < 4
        if "R" in shot.start[1:3]:
            assert row > 4


def test_left_and_right_are_drawn_alike_where_the_vehicle_is(unit: Unit) -> None:
    mirror = unit.model_copy(update={"solid": (), "mount": tuple(m for m in unit.mount if m.kind.value == "hub")})
    lines = plan_text(mirror, 44, 9, unicode=False)
    plain = [line.replace("L", " ").replace("R", " ").replace(">", " ") for line in lines]
    assert plain == plain[::-1]
