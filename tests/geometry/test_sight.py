"""Line of sight. Expected answers are computed by hand from the solids' extents, as noted at each case."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from axledger.geometry.sight import Box, Clearance, Cylinder, Place, blockers

BEAM = Clearance()
TANK = Box(name="tank", x_m=(2.0, 3.0), y_m=(-0.5, 0.5), z_m=(0.290, 0.800))
TYRE = Cylinder(name="tyre", x_m=5.0, z_m=0.490, radius_m=0.520, y_m=(0.885, 1.195))


def along(y: float, z: float) -> tuple[Place, Place]:
    """A beam of 10 m straight along x."""
    return (0.0, y, z), (10.0, y, z)


@pytest.mark.parametrize(
    ("z", "expected"),
    [
        # underside 290 less clearance 15: free to 275 mm (computed by hand)
        (0.150, ()),
        (0.274, ()),
        (0.276, ("tank",)),
        (0.500, ("tank",)),
        # top 800 and clearance 15 (computed by hand)
        (0.814, ("tank",)),
        (0.816, ()),
    ],
)
def test_a_box_needs_clearance_above_and_below(z: float, expected: tuple[str, ...]) -> None:
    assert blockers(*along(0.0, z), [TANK]) == expected


@pytest.mark.parametrize(
    ("y", "z", "expected"),
    [
        # tyre face 1195 and clearance 15: free from 1210 mm outward (computed by hand)
        (1.209, 0.490, ("tyre",)),
        (1.211, 0.490, ()),
        (0.871, 0.490, ("tyre",)),
        (0.869, 0.490, ()),
        # the tyre's grown top stands at 490 + 520 + 15 = 1025 mm (computed by hand)
        (1.000, 1.024, ("tyre",)),
        (1.000, 1.026, ()),
    ],
)
def test_a_tyre_needs_clearance_at_face_and_tread(y: float, z: float, expected: tuple[str, ...]) -> None:
    assert blockers(*along(y, z), [TYRE]) == expected


@pytest.mark.parametrize(
    ("x", "expected"),
    [
        # across at 150 mm the grown tyre reaches sqrt(535^2 - 340^2) = 413.06 mm fore and aft (computed by hand)
        (5.0 + 0.4125, ("tyre",)),
        (5.0 + 0.4136, ()),
        (5.0 - 0.4125, ("tyre",)),
        (5.0 - 0.4136, ()),
    ],
)
def test_a_tyre_is_round(x: float, expected: tuple[str, ...]) -> None:
    assert blockers((x, -1.3, 0.150), (x, 1.3, 0.150), [TYRE]) == expected


def test_exactly_the_clearance_is_free() -> None:
    box = Box(name="box", x_m=(1.0, 2.0), y_m=(-1.0, 1.0), z_m=(0.5, 1.0))
    assert blockers((0.0, 0.0, 0.25), (4.0, 0.0, 0.25), [box], Clearance(free_m=0.25)) == ()
    assert blockers((0.0, 0.0, 0.25), (4.0, 0.0, 0.25), [box], Clearance(free_m=0.26)) == ("box",)


def test_less_clearance_is_asked_near_the_ends() -> None:
    wall = Box(name="wall", x_m=(0.010, 0.060), y_m=(0.010, 1.0), z_m=(0.0, 1.0))
    # 10 mm beside the beam and 60 mm from its start: more than the 4 mm asked there
    assert blockers((0.0, 0.0, 0.150), (2.0, 0.0, 0.150), [wall]) == ()
    assert blockers((2.0, 0.0, 0.150), (0.0, 0.0, 0.150), [wall]) == ()
    # the same wall at 300 mm needs 15 mm
    further = replace(wall, x_m=(0.310, 0.360))
    assert blockers((0.0, 0.0, 0.150), (2.0, 0.0, 0.150), [further]) == ("wall",)
    # a beam of 200 mm is near an end all along
    assert blockers((0.250, 0.0, 0.150), (0.450, 0.0, 0.150), [further]) == ()
    # 3 mm is too little even there
    assert blockers((0.250, 0.007, 0.150), (0.450, 0.007, 0.150), [further]) == ("wall",)


def test_a_solid_beyond_either_end_is_not_in_the_way() -> None:
    assert blockers((3.1, 0.0, 0.5), (9.0, 0.0, 0.5), [TANK]) == ()
    assert blockers((0.0, 0.0, 0.5), (1.9, 0.0, 0.5), [TANK]) == ()


def test_a_plate_thinner_than_any_sample_step_is_seen() -> None:
    plate = Box(name="plate", x_m=(5.0, 5.0 + 1e-9), y_m=(-1.0, 1.0), z_m=(0.0, 1.0))
    assert blockers(*along(0.0, 0.5), [plate]) == ("plate",)


def test_each_name_comes_once_in_the_order_given() -> None:
    twice = [TANK, replace(TANK, x_m=(6.0, 7.0)), Box(name="step", x_m=(1.0, 1.1), y_m=(-1, 1), z_m=(0.3, 0.6))]
    assert blockers(*along(0.0, 0.5), twice) == ("tank", "step")


@pytest.mark.parametrize(
    ("place", "expected"), [((2.5, 0.0, 0.5), ("tank",)), ((5.0, 1.0, 0.5), ("tyre",)), ((0.0, 0.0, 0.0), ())]
)
def test_a_beam_without_length_is_a_point(place: Place, expected: tuple[str, ...]) -> None:
    # a point lies within a solid or not; the inside of a solid has no gaps (computed by hand)
    assert blockers(place, place, [TANK, TYRE]) == expected


COORDINATE = st.floats(min_value=-12, max_value=12, allow_nan=False)
PLACE = st.tuples(COORDINATE, COORDINATE, st.floats(min_value=0, max_value=3))
SIZE = st.floats(min_value=0.001, max_value=2)


@st.composite
def boxes(draw: st.DrawFn) -> Box:
    x, y, z = draw(PLACE)
    return Box(name="box", x_m=(x, x + draw(SIZE)), y_m=(y, y + draw(SIZE)), z_m=(z, z + draw(SIZE)))


@st.composite
def tyres(draw: st.DrawFn) -> Cylinder:
    x, y, z = draw(PLACE)
    return Cylinder(name="tyre", x_m=x, z_m=z, radius_m=draw(SIZE), y_m=(y, y + draw(SIZE)))


SOLID = st.one_of(boxes(), tyres())


@given(start=PLACE, end=PLACE, solid=SOLID)
def test_both_directions_agree(start: Place, end: Place, solid: Box | Cylinder) -> None:
    assert blockers(start, end, [solid]) == blockers(end, start, [solid])


@given(start=PLACE, end=PLACE, solid=SOLID, sideways=st.sampled_from([-40.0, 40.0]))
def test_a_solid_far_away_is_never_in_the_way(start: Place, end: Place, solid: Box | Cylinder, sideways: float) -> None:
    low, high = solid.y_m
    assert blockers(start, end, [replace(solid, y_m=(low + sideways, high + sideways))]) == ()


def inside(place: Place, solid: Box | Cylinder, grow: float) -> bool:
    x, y, z = place
    if not solid.y_m[0] - grow < y < solid.y_m[1] + grow:
        return False
    if isinstance(solid, Cylinder):
        return math.hypot(x - solid.x_m, z - solid.z_m) < solid.radius_m + grow
    return solid.x_m[0] - grow < x < solid.x_m[1] + grow and solid.z_m[0] - grow < z < solid.z_m[1] + grow


@given(start=PLACE, end=PLACE, solid=SOLID, part=st.floats(min_value=0, max_value=1))
def test_no_point_of_a_free_beam_lies_too_close(start: Place, end: Place, solid: Box | Cylinder, part: float) -> None:
    # second method: any single point of the beam, tested directly against the grown solid
    if blockers(start, end, [solid]):
        return
    x, y, z = (a + part * (b - a) for a, b in zip(start, end, strict=True))
    near = min(math.dist(start, (x, y, z)), math.dist(end, (x, y, z))) < BEAM.reach_m
    # a hair less, as the point itself is rounded
    assert not inside((x, y, z), solid, (BEAM.near_m if near else BEAM.free_m) - 1e-9)


@given(start=PLACE, end=PLACE, solid=SOLID)
def test_a_solid_put_onto_the_beam_blocks_it(start: Place, end: Place, solid: Box | Cylinder) -> None:
    assume(math.dist(start, end) > 0.5)
    middle = tuple((a + b) / 2 for a, b in zip(start, end, strict=True))
    wide = (middle[1] - 0.05, middle[1] + 0.05)
    moved: Box | Cylinder
    if isinstance(solid, Box):
        moved = Box(
            name="box", x_m=(middle[0] - 0.05, middle[0] + 0.05), y_m=wide, z_m=(middle[2] - 0.05, middle[2] + 0.05)
        )
    else:
        moved = replace(solid, x_m=middle[0], z_m=middle[2], y_m=wide)
    assert blockers(start, end, [moved]) == (moved.name,)
