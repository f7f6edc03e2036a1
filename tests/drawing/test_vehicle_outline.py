from __future__ import annotations

from axledger.drawing.vehicle_outline import outline_of
from axledger.job.layout import Unit, stations_of


def test_the_extent_holds_everything_that_is_drawn(unit: Unit) -> None:
    outline = outline_of(unit)
    (low_x, high_x), (low_y, high_y) = outline.x_m, outline.y_m
    points = [*outline.stations.values()]
    points += [(x, y) for tyre in outline.tyres for x in tyre.x_m for y in tyre.y_m]
    points += [(x, rail.y_m) for rail in outline.rails for x in rail.x_m]
    assert all(low_x <= x <= high_x and low_y <= y <= high_y for x, y in points)


def test_every_station_and_axle_is_there_with_tyres_on_both_sides(unit: Unit) -> None:
    outline = outline_of(unit)
    assert set(outline.stations) == {station.name for station in stations_of(unit)}
    assert [axle.name for axle in outline.axles] == [axle.name for axle in unit.axle]
    for axle in outline.axles:
        here = [tyre for tyre in outline.tyres if tyre.x_m[0] < axle.x_m < tyre.x_m[1]]
        assert {tyre.y_m[0] > 0 for tyre in here} == {True, False}


def test_tyres_are_drawn_where_a_layout_has_no_solids(unit: Unit) -> None:
    bare = unit.model_copy(update={"solid": ()})
    assert len(outline_of(bare).tyres) == 2 * len(unit.axle)
