"""Wheel attitude: caster and kingpin inclination from a sweep, turn centre, run-out, floor slope, reversal.

No printed table of these was found readable; every figure is derived from the kinematics of a rigid wheel turning
about an inclined axis (exact rotation, double precision, computed independently of this code) and marked so.
Signs: ISO 8855:2011 for toe, its discussion for camber; caster as in SAE 850219 (1985), opening pages, and US Army
TM 9-8000, para 33-17.
"""

from __future__ import annotations

from math import atan, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pytest

from axledger.geometry.attitude import (
    Pose,
    camber_over_floor,
    caster_from_sweep,
    cross_slope,
    heading_of,
    inclination_of,
    inner_angle,
    kingpin_from_levels,
    mean_direction,
    projected_camber,
    reversal,
    run_out,
    spin_axis,
    steering_axis,
    steering_axis_from_poses,
    swept,
    turned_about,
)

# computed by exact rotation about the kingpin from camber 0, toe 0: caster, kingpin inclination, sweep each way, camber
# turned out and in, rotation about the kingpin out and in, level in the wheel plane out and in; degrees
SWEEPS = [
    (1, 0, 20, 0.342051, -0.342051, 20.002805, 20.002805, -0.060312, -0.060312),
    (3, 0, 20, 1.026889, -1.026889, 20.025267, 20.025267, -0.181044, -0.181044),
    (0, 6, 20, 0.363289, 0.363289, 20.114490, 20.114490, 2.060058, -2.060058),
    (3, 6, 10, 0.613231, -0.429756, 10.073770, 10.064260, 1.000547, -1.090824),
    (3, 6, 15, 0.983153, -0.571653, 15.114499, 15.093575, 1.457214, -1.659821),
    (3, 6, 20, 1.391675, -0.663393, 20.157649, 20.121612, 1.879967, -2.238870),
    (3, 6, 25, 1.835696, -0.704307, 25.202918, 25.148906, 2.265462, -2.823637),
    (4, 5, 20, 1.674276, -1.067010, 20.144172, 20.104197, 1.473692, -1.953787),
    (5, 7, 20, 2.142642, -1.288195, 20.261225, 20.190663, 2.106212, -2.703168),
    (6, 4, 20, 2.303275, -1.815413, 20.175913, 20.127863, 1.007304, -1.730126),
    (-1, 6, 20, 0.021118, 0.705649, 20.111284, 20.123277, 2.119768, -2.000206),
    (8, 12, 20, 3.507004, -2.011289, 20.742272, 20.541852, 3.692114, -4.626848),
]


def poses(caster: float, kingpin: float, out: float, inward: float, start: Pose | None = None) -> tuple[Pose, Pose]:
    """Turn a wheel by angles about its kingpin, degrees, and read what it shows; the level starts level."""
    start = start or Pose(heading_rad=0.0, inclination_rad=0.0)
    axis = steering_axis(radians(caster), radians(kingpin))
    spin = spin_axis(start.heading_rad, start.inclination_rad)
    ahead = np.array([cos(start.heading_rad), sin(start.heading_rad), 0.0])
    shown: list[Pose] = []
    for turn in (out, -inward):
        face, level = (turned_about(axis, radians(turn), vector) for vector in (spin, ahead))
        shown.append(
            Pose(
                heading_rad=heading_of(face), inclination_rad=inclination_of(face), level_rad=float(np.arcsin(level[2]))
            )
        )
    return shown[0], shown[1]


@pytest.mark.parametrize("row", SWEEPS)
def test_a_turn_about_the_kingpin_shows_the_tabled_angles(row: tuple[float, ...]) -> None:
    caster, kingpin, sweep, camber_out, camber_in, turn_out, turn_in, level_out, level_in = row
    out, inward = poses(caster, kingpin, turn_out, turn_in)
    assert degrees(out.heading_rad) == pytest.approx(sweep, abs=2e-6)
    assert degrees(inward.heading_rad) == pytest.approx(-sweep, abs=2e-6)
    assert degrees(out.inclination_rad) == pytest.approx(camber_out, abs=2e-6)
    assert degrees(inward.inclination_rad) == pytest.approx(camber_in, abs=2e-6)
    assert degrees(out.level_rad) == pytest.approx(level_out, abs=2e-6)
    assert degrees(inward.level_rad) == pytest.approx(level_in, abs=2e-6)
    straight = Pose(heading_rad=0.0, inclination_rad=0.0)
    reached = swept(straight, radians(sweep), caster_rad=radians(caster), kingpin_rad=radians(kingpin))
    assert degrees(reached) == pytest.approx(camber_out, abs=2e-6)


@pytest.mark.parametrize("row", SWEEPS)
def test_the_exact_relations_return_caster_and_kingpin_inclination(row: tuple[float, ...]) -> None:
    caster, kingpin, sweep, camber_out, camber_in, _, _, level_out, level_in = row
    out = Pose(heading_rad=radians(sweep), inclination_rad=radians(camber_out), level_rad=radians(level_out))
    inward = Pose(heading_rad=radians(-sweep), inclination_rad=radians(camber_in), level_rad=radians(level_in))
    from_camber = caster_from_sweep(out, inward, kingpin_rad=radians(kingpin))
    assert degrees(from_camber) == pytest.approx(caster, abs=3e-6)
    assert [degrees(angle) for angle in steering_axis_from_poses(out, inward)] == pytest.approx(
        [caster, kingpin], abs=1e-5
    )
    # without the kingpin term: within 0.006 up to caster 6 and kingpin 7, 0.021 at 8 and 12 (derived)
    rough = degrees(caster_from_sweep(out, inward))
    assert abs(rough - caster) < (0.0065 if caster <= 6 else 0.0215)
    assert degrees(kingpin_from_levels(out, inward)) == pytest.approx(kingpin, abs=0.01 * max(1, kingpin))


# degrees; column 10 of the same derivation: the working rule dC / (2 sin d)
@pytest.mark.parametrize(
    ("sweep", "factor"), [(10, 2.879385), (15, 1.931852), (20, 1.461902), (25, 1.183101), (30, 1.000000)]
)
def test_the_working_rule_s_factor(sweep: float, factor: float) -> None:
    """Derived: for small angles caster is (camber out - camber in) / (2 sin d)."""
    out, inward = (Pose(heading_rad=way * radians(sweep), inclination_rad=way * 5e-7) for way in (1, -1))
    assert caster_from_sweep(out, inward) / 1e-6 == pytest.approx(factor, abs=1e-6)


def test_a_wheel_that_does_not_start_at_zero() -> None:
    """Derived: caster 3, kingpin 6, camber +0.5, toe-in 0.1, steered to 20 each way from straight along the vehicle."""
    start = Pose(heading_rad=radians(-0.1), inclination_rad=radians(0.5))
    out, inward = poses(3, 6, 20.275176, 20.040700, start)
    assert [degrees(out.heading_rad), degrees(inward.heading_rad)] == pytest.approx([20, -20], abs=2e-6)
    assert [degrees(out.inclination_rad), degrees(inward.inclination_rad)] == pytest.approx(
        [1.898056, -0.158805], abs=2e-6
    )
    assert [degrees(out.level_rad), degrees(inward.level_rad)] == pytest.approx([1.891830, -2.230648], abs=2e-6)
    straight = swept(start, 0.0, caster_rad=radians(3), kingpin_rad=radians(6))
    assert degrees(straight) == pytest.approx(0.505236, abs=2e-6)
    assert degrees(caster_from_sweep(out, inward, kingpin_rad=radians(6))) == pytest.approx(3.0, abs=3e-6)
    assert [degrees(angle) for angle in steering_axis_from_poses(out, inward)] == pytest.approx([3.0, 6.0], abs=1e-5)
    to_hundredths = [
        Pose(heading_rad=pose.heading_rad, inclination_rad=radians(round(degrees(pose.inclination_rad), 2)),
             level_rad=radians(round(degrees(pose.level_rad), 2)))
        for pose in (out, inward)
    ]  # fmt: skip
    found = steering_axis_from_poses(to_hundredths[0], to_hundredths[1])
    assert [degrees(angle) for angle in found] == pytest.approx([3.0046, 5.9964], abs=5e-5)


@pytest.mark.parametrize(("out_deg", "in_deg", "shown"), [(19, -19, 2.860), (21, -19, 3.109)])
def test_a_sweep_that_was_not_what_was_thought(out_deg: float, in_deg: float, shown: float) -> None:
    """Derived: caster 3, kingpin 6; turned as given, reckoned as 20 each way by the working rule."""
    start = Pose(heading_rad=0.0, inclination_rad=0.0)
    cambers = [swept(start, radians(way), caster_rad=radians(3), kingpin_rad=radians(6)) for way in (out_deg, in_deg)]
    rule = degrees(cambers[0] - cambers[1]) / (2 * sin(radians(20)))
    assert rule == pytest.approx(shown, abs=6e-4)
    actual = [
        Pose(heading_rad=radians(way), inclination_rad=camber)
        for way, camber in zip((out_deg, in_deg), cambers, strict=True)
    ]
    assert degrees(caster_from_sweep(actual[0], actual[1], kingpin_rad=radians(6))) == pytest.approx(3.0, abs=1e-9)


def test_inclination_and_projected_camber() -> None:
    """Derived: at heading 20 an inclination of 1.391675 is seen along the vehicle as 1.480951."""
    assert degrees(projected_camber(radians(1.391675), radians(20))) == pytest.approx(1.480951, abs=1e-6)


def test_poses_that_are_one_are_refused() -> None:
    pose = Pose(heading_rad=0.1, inclination_rad=0.01)
    with pytest.raises(ValueError, match="two different headings"):
        caster_from_sweep(pose, pose)
    with pytest.raises(ValueError, match="do not differ"):
        steering_axis_from_poses(pose, pose)


# derived from cot outer - cot inner = w / L; w, L in m, angles in degrees: inner at outer 20, then the outer angles at
# inner 20, 30 and 40, and the radius of the rear axle's middle at outer 20, m
TURNS = [
    (1.80, 5.20, 22.608652, 17.913153, 25.696142, 33.033299, 13.386883),
    (1.75, 3.80, 23.617998, 17.313318, 24.516984, 31.183346, 9.565414),
    (1.90, 6.50, 22.161255, 18.209687, 26.288619, 33.973139, 16.908603),
]


@pytest.mark.parametrize(("pivots", "base", "inner", "at20", "at30", "at40", "radius"), TURNS)
def test_the_common_turn_centre(
    pivots: float, base: float, inner: float, at20: float, at30: float, at40: float, radius: float
) -> None:
    assert degrees(inner_angle(radians(20), pivots_m=pivots, wheelbase_m=base)) == pytest.approx(inner, abs=1e-6)
    for turned, outer in ((20, at20), (30, at30), (40, at40)):
        assert degrees(inner_angle(radians(turned), pivots_m=-pivots, wheelbase_m=base)) == pytest.approx(
            outer, abs=1e-6
        )
    assert base / tan(radians(20)) - pivots / 2 == pytest.approx(radius, abs=1e-6)


def test_a_turn_of_known_radius() -> None:
    """Derived: radius 12.0 m, pivots 1.8 m, wheelbase 5.2 m: inner 25.101609, outer 21.954402."""
    outer = atan(5.2 / (12.0 + 0.9))
    assert degrees(outer) == pytest.approx(21.954402, abs=1e-6)
    inner = inner_angle(outer, pivots_m=1.8, wheelbase_m=5.2)
    assert degrees(inner) == pytest.approx(25.101609, abs=1e-6)
    assert 1 / tan(outer) - 1 / tan(inner) == pytest.approx(0.346153846, abs=1e-9)


def clamped(toe: float, camber: float, tilt: float, phase: float, rolled: float) -> np.ndarray:
    """Return the direction of a clamp tilted by ``tilt`` to a spin axis, ``rolled`` past its phase; degrees."""
    axis = spin_axis(radians(-toe), radians(camber))
    ahead = np.array([cos(radians(-toe)), sin(radians(-toe)), 0.0])
    about = turned_about(axis, radians(phase + rolled), ahead)
    return turned_about(about, -radians(tilt), axis)


# derived: true toe 0.10, camber 0.50, clamp tilted by 0.30: phase, roll, toe and camber as read, degrees
CLAMPED = [
    (0, 0, 0.100005, 0.800000),
    (0, 90, -0.200011, 0.499998),
    (0, 180, 0.099995, 0.200000),
    (0, 270, 0.400011, 0.499989),
    (40, 0, -0.092848, 0.729813),
    (40, 180, 0.292834, 0.270181),
]


@pytest.mark.parametrize(("phase", "rolled", "toe", "camber"), CLAMPED)
def test_what_a_tilted_clamp_reads(phase: float, rolled: float, toe: float, camber: float) -> None:
    axis = clamped(0.10, 0.50, 0.30, phase, rolled)
    # the figures count the phase from the vehicle's upright plane, this from the wheel's: 1e-5 between them
    assert degrees(inclination_of(axis)) == pytest.approx(camber, abs=1.5e-5)
    assert -degrees(heading_of(axis)) == pytest.approx(toe, abs=1.5e-5)


@pytest.mark.parametrize("phase", [0, 40, 123])
def test_half_a_turn_takes_run_out_away(phase: float) -> None:
    """Derived: the mean of two directions half a turn apart is the spin axis; stopping at 170 is not half a turn."""
    first = clamped(0.10, 0.50, 0.30, phase, 0)
    mean = mean_direction(first, clamped(0.10, 0.50, 0.30, phase, 180))
    assert [-degrees(heading_of(mean)), degrees(inclination_of(mean))] == pytest.approx([0.10, 0.50], abs=1e-12)
    quarters = [degrees(inclination_of(clamped(0.10, 0.50, 0.30, phase, roll))) for roll in (0, 90, 180, 270)]
    amplitude = run_out((quarters[0], quarters[1], quarters[2], quarters[3]))
    assert amplitude == pytest.approx(0.3000, abs=2e-5)


def test_stopping_short_of_half_a_turn() -> None:
    """Derived: at 170 degrees, phase 0, the mean camber is 0.502279 and toe is off by 0.026."""
    mean = mean_direction(clamped(0.10, 0.50, 0.30, 0, 0), clamped(0.10, 0.50, 0.30, 0, 170))
    assert degrees(inclination_of(mean)) == pytest.approx(0.502279, abs=2e-6)
    assert abs(-degrees(heading_of(mean)) - 0.10) == pytest.approx(0.10 - 0.073953, abs=2e-5)
    assert 0.5 * pi == pytest.approx(1.5708, abs=1e-4)  # how far half a turn rolls at 0.5 m


def test_floor_slope_and_camber() -> None:
    """Derived: 12 and 4 mm, track 2050 mm: 0.223592; read 0.30 and 0.55 become 0.523592 and 0.326408."""
    slope = cross_slope(0.012, 0.004, 2.050)
    assert degrees(slope) == pytest.approx(0.223592, abs=1e-6)
    left, right = (degrees(camber_over_floor(radians(read), slope, side)) for read, side in ((0.30, 1), (0.55, -1)))
    assert [left, right] == pytest.approx([0.523592, 0.326408], abs=1e-6)
    assert left + right == pytest.approx(0.85, abs=1e-12)


def test_reversal() -> None:
    """Principle of reversion (J. Mahun, Total Station Instruments, ch. D): 0.62 and -0.48 give 0.55 and 0.07."""
    assert reversal(0.62, -0.48) == pytest.approx((0.55, 0.07), abs=1e-12)


def test_the_uncertainty_of_caster_and_kingpin_inclination_from_camber_alone() -> None:
    """Derived (three positions): 0.05 on each camber makes 0.103 of caster and 1.00 of kingpin inclination."""
    start = Pose(heading_rad=0.0, inclination_rad=0.0)
    rows = []
    for heading in (radians(20), 0.0, radians(-20)):
        camber = swept(start, heading, caster_rad=radians(3), kingpin_rad=radians(6))
        rows.append([cos(camber) * sin(heading), -cos(camber) * cos(heading), -1.0])
    inverse = np.linalg.inv(np.array(rows))
    spread = radians(0.05) * np.sqrt((inverse**2).sum(axis=1))
    assert degrees(spread[0]) * cos(radians(3)) ** 2 == pytest.approx(0.103, abs=1e-3)
    assert degrees(spread[1]) * cos(radians(6)) ** 2 == pytest.approx(1.00, abs=0.01)
    assert degrees(spread[1]) / degrees(spread[0]) > sqrt(50)
