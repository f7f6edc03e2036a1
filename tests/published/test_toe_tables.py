"""Toe as a length and as an angle, and slopes as numbers.

Forms: total linear toe T between marks at the ends of a base D on each wheel is D (sin left + sin right), rear gap
less front gap (sign: US Army TM 9-8000, para 33-21; total static toe, ISO 8855:2011, cl. 7.1.7). The figures were
derived and recomputed independently; where a page prints a figure it stands beside it.
"""

from __future__ import annotations

from decimal import Decimal
from math import degrees, radians, tan

import numpy as np
import pytest

from axledger.contract.quantity import UNITS, from_si, to_si
from axledger.geometry.adjustment import Equations, adjust
from axledger.geometry.results import AxleGeometry, UnitGeometry, evaluate
from axledger.geometry.vehicle_network import Distances, Inclinations, Points, VehicleNetwork

INCH_MM = 25.4  # International Yard and Pound agreement, 1959


def toe_mm(base_mm: float, left_deg: float, right_deg: float) -> tuple[float, float]:
    """Return total toe as a length, mm, and as an angle, deg, for toe-in of each wheel."""
    axle = AxleGeometry(
        id="steer", name="steer axle", group="front", driven=False, x=2, y=2, yaw=2, x_m=0.0, wheel_half_m=1.0,
        steer=(0, 1),
    )  # fmt: skip
    unit = UnitGeometry(
        id="t", name="tractor", powered=False, reference="frame", pin_x_m=0.0, toe_diameter_m=base_mm / 1000,
        axles=(axle,),
    )  # fmt: skip
    # toe-in turns the left wheel to the right (clockwise, negative) and the right wheel to the left
    found = {f.key: f.value.value for f in evaluate(unit, np.array([-radians(left_deg), radians(right_deg)]))}
    return found["t.steer.toe.length"] * 1000, degrees(found["t.steer.toe.total"])


@pytest.mark.parametrize(
    ("toe_length_mm", "base_mm", "total_deg"),
    [
        pytest.param(INCH_MM / 16, 40.0 * INCH_MM, 0.089525, id="1/16 in at 40 in"),
        pytest.param(INCH_MM / 8, 40.0 * INCH_MM, 0.179049, id="1/8 in at 40 in"),
        pytest.param(2.0, 1000.0, 0.114592, id="2 mm at 1000 mm"),
        pytest.param(3.0, 1050.0, 0.163702, id="3 mm at 1050 mm"),
        # US Army TM 9-2320-260-20, para 9-8: 0.13 in, marks 20.75 in above ground (base twice that)
        pytest.param(0.13 * INCH_MM, 41.5 * INCH_MM, 0.179481, id="0.13 in at 41.5 in"),
        # US Army TM 9-2320-361-24-2, WP 0190: 0.13 in, marks 18.3 in above ground
        pytest.param(0.13 * INCH_MM, 36.6 * INCH_MM, 0.203510, id="0.13 in at 36.6 in"),
        pytest.param(0.5 * INCH_MM, 28.648253 * INCH_MM, 1.0, id="0.5 in at 28.648253 in"),
        # US Army TM 9-2320-260-20, para 9-8: tolerance 0.06 in either way
        pytest.param(0.07 * INCH_MM, 41.5 * INCH_MM, 0.0966, id="0.07 in at 41.5 in"),
        pytest.param(0.19 * INCH_MM, 41.5 * INCH_MM, 0.2623, id="0.19 in at 41.5 in"),
    ],
)
def test_toe_length_and_angle(toe_length_mm: float, base_mm: float, total_deg: float) -> None:
    length_mm, angle_deg = toe_mm(base_mm, total_deg / 2, total_deg / 2)
    assert angle_deg == pytest.approx(total_deg, abs=1e-12)
    half_digit_deg = 6e-7 if total_deg not in (0.0966, 0.2623) else 6e-5
    assert length_mm == pytest.approx(toe_length_mm, abs=radians(half_digit_deg) * base_mm)


@pytest.mark.parametrize(("base_in", "wheel_deg"), [(26.0, 0.5509), (28.0, 0.5116), (28.648, 0.5000), (40.0, 0.3581)])
def test_half_an_inch_of_toe_is_about_half_a_degree_of_slip(base_in: float, wheel_deg: float) -> None:
    # EPA-AA-LDTP 78-12 (J. Yurko, July 1978), Introduction: half an inch is about half a degree; recomputed by base
    length_mm, _ = toe_mm(base_in * INCH_MM, wheel_deg, wheel_deg)
    assert length_mm / INCH_MM == pytest.approx(0.5, abs=2 * radians(6e-5) * base_in)


def test_toe_moved_to_another_diameter() -> None:
    # T2 = T1 D2/D1: 1.6 mm at 571.5 equals 2.8444 at 1016
    wheel_deg = degrees(1.6 / 571.5 / 2)
    assert toe_mm(571.5, wheel_deg, wheel_deg)[0] == pytest.approx(1.6, abs=1e-5)
    assert toe_mm(1016.0, wheel_deg, wheel_deg)[0] == pytest.approx(2.8444, abs=5e-5)


@pytest.mark.parametrize(
    ("angle_deg", "slope_mm_per_m", "inches_at_40"),
    [
        (0.01, 0.174533, 0.006981),
        (0.05, 0.872665, 0.034907),
        (0.10, 1.745331, 0.069813),
        (0.25, 4.363351, 0.174532),
        (0.50, 8.726868, 0.349061),
        (1.00, 17.455065, 0.698096),
    ],
)
def test_angle_slope_and_inches(angle_deg: float, slope_mm_per_m: float, inches_at_40: float) -> None:
    assert from_si(radians(angle_deg), UNITS["mm/m"]) == pytest.approx(slope_mm_per_m, abs=6e-7)
    assert from_si(radians(angle_deg), UNITS["%"]) == pytest.approx(slope_mm_per_m / 10, abs=6e-8)
    assert toe_mm(40 * INCH_MM, angle_deg, 0.0)[0] / INCH_MM == pytest.approx(inches_at_40, abs=6e-7)


@pytest.mark.parametrize(("slope", "angle_deg"), [("1", 0.0572958), ("2", 0.1145914)])
def test_slope_units_to_degrees(slope: str, angle_deg: float) -> None:
    assert degrees(to_si(Decimal(slope), UNITS["mm/m"])) == pytest.approx(angle_deg, abs=6e-8)


@pytest.mark.parametrize(
    ("toe_length", "base", "total_mm_per_m"),
    [("0.0625", "40.0", 1.5625), ("0.125", "40.0", 3.1250), ("2.0", "1000", 2.0), ("3.0", "1050", 2.8571)],
)
def test_total_toe_as_a_slope(toe_length: str, base: str, total_mm_per_m: float) -> None:
    """Length over base is the figure in mm/m by definition; its unit must carry it there and back."""
    slope = Decimal(toe_length) / Decimal(base) * 1000
    angle_rad = to_si(slope, UNITS["mm/m"])
    assert tan(angle_rad) * 1000 == pytest.approx(total_mm_per_m, abs=6e-5)
    assert from_si(angle_rad, UNITS["mm/m"]) == pytest.approx(float(slope), rel=1e-14)


def test_straightedge_ends_give_the_sine_of_toe() -> None:
    # ends 600 mm apart along the straightedge, rear 2.1 mm further out than front: 0.200536 (sine), 0.200534 (tangent)
    none = np.full(4, 1, dtype=np.int64)
    network = VehicleNetwork(
        size=1,
        points=Points(
            axle_x=none,
            axle_y=none,
            axle_yaw=none,
            steer=np.array([0, 0, 1, 1], dtype=np.int64),
            base=np.array([[0.0, 0.0], [0.0, 0.0], [0.3, -1.0], [-0.3, -1.0]]),
            pivot=np.array([[0.0, 0.9], [0.0, 0.9], [0.0, 0.0], [0.0, 0.0]]),
            local=np.array([[0.3, 0.3], [-0.3, 0.3], [0.0, 0.0], [0.0, 0.0]]),
            local_by=np.zeros((4, 2, 1)),
            outer_by=np.zeros((4, 2, 1)),
            height=np.zeros(4),
        ),
        distances=Distances(
            start=np.array([2, 3], dtype=np.int64), end=np.array([0, 1], dtype=np.int64), zero=none[:2], scale=none[:2]
        ),
        inclinations=Inclinations(slope=none[:0], zero=none[:0], sign=np.zeros(0)),
    )
    # the wheel turned right (toe-in on the left): its straightedge's two ends by a rotation written out
    angle = -radians(0.200536)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    front, rear = ([0.0, 0.9] + turn @ np.array([x, 0.3]) for x in (0.3, -0.3))
    assert (rear[1] - front[1]) * 1000 == pytest.approx(2.1, abs=6e-6)
    assert degrees(np.arctan((rear[1] - front[1]) / 0.6)) == pytest.approx(0.200534, abs=1e-6)
    observed = np.array([np.hypot(*(front - [0.3, -1.0])), np.hypot(*(rear - [-0.3, -1.0]))])
    adjusted = adjust(
        Equations(
            predict=network.predict,
            observed=observed,
            sd=np.full(2, 1e-3),
            prior=np.zeros(1),
            prior_sd=np.full(1, np.inf),
        )
    )
    assert degrees(adjusted.x[0]) == pytest.approx(-0.200536, abs=1e-9)
