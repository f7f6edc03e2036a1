"""Moves and consequences against what is printed, and against what was derived where nothing is printed."""

from __future__ import annotations

from math import degrees, radians, tan

import numpy as np
import pytest

from axledger.geometry.consequence import rear_offset_m, scrub_each_rad, sideways_m_per_km
from axledger.geometry.moves import Control, Effect, first_move, reached


def yaw_deg(effects: tuple[Effect, ...], amount_m: float) -> float:
    control = Control(name="c", effects=effects, low_m=-1.0, high_m=1.0, step_m=1e-4, sd_m=0.0)
    return degrees(reached(np.zeros(2), [control], [amount_m])[0])


@pytest.mark.parametrize("factor", [0.59, 0.64])
def test_first_move_factors_of_a_bulletin(factor: float) -> None:
    # TB 9-2510-242-40, paragraph b: first move 0.59 (axle 1) or 0.64 (axle 2) times the difference. That the factor
    # is mount spacing over track is an inference of our own, not stated there; so the spacing follows from a track.
    track_m = 2.0
    spacing_m = factor * track_m
    difference_m = 0.0254 / 16
    assert first_move(difference_m, spacing_m, track_m) == pytest.approx(factor * difference_m)
    # and that move takes the whole difference away
    turned = yaw_deg((Effect(0, -1.0, spacing_m),), factor * difference_m)
    assert track_m * tan(radians(turned)) == pytest.approx(-difference_m)


def test_turning_about_the_middle_moves_each_end_half_the_difference() -> None:
    # TM 5-2330-325-13&P, WP 0052: correct by half the difference. One end alone, the other fixed: the whole (derived).
    half_m, difference_m = 1.0, 0.006
    about_middle = yaw_deg((Effect(0, -1.0, half_m),), difference_m / 2)
    about_end = yaw_deg((Effect(0, -1.0, 2 * half_m),), difference_m)
    assert about_middle == pytest.approx(about_end)
    assert tan(radians(about_end)) == pytest.approx(-difference_m / (2 * half_m))


@pytest.mark.parametrize(
    ("deg", "metres", "feet"),
    [
        (0.01, 0.174533, 0.92153),
        (0.05, 0.872665, 4.60767),
        (0.10, 1.745331, 9.21535),
        (0.20, 3.490673, 18.4308),
        (0.25, 4.363351, 23.03849),
        (0.50, 8.726868, 46.07786),
        (1.00, 17.455065, 92.16274),
    ],
)
def test_sideways_travel(deg: float, metres: float, feet: float) -> None:
    # derived, computed independently in double precision: 1000 tan a m/km, 5280 tan a ft/mile
    found = sideways_m_per_km(radians(deg))
    assert found == pytest.approx(metres, abs=6e-7)
    assert found * 5.28 == pytest.approx(feet, abs=6e-5)


def test_sideways_travel_over_a_life() -> None:
    # derived: 0.2 degrees over 200 000 km
    assert sideways_m_per_km(radians(0.2)) * 200_000 / 1000 == pytest.approx(698, abs=0.5)


@pytest.mark.parametrize(
    ("length_m", "deg", "offset_mm"),
    [(12.0, 0.2, 41.888), (12.0, 0.1, 20.944), (5.5, 0.2, 19.199), (12.0, 0.03, 6.283)],
)
def test_offset_of_the_rear(length_m: float, deg: float, offset_mm: float) -> None:
    # derived, computed independently in double precision: L sin a
    assert rear_offset_m(radians(deg), length_m) * 1000 == pytest.approx(offset_mm, abs=6e-4)


def test_scrub_of_a_tandem() -> None:
    # derived: yaws +0.10 and -0.04 degrees, mean heading 0.03, scrub 0.14, each axle slips 0.07
    assert degrees(scrub_each_rad(radians(0.10), radians(-0.04))) == pytest.approx(0.07)
