"""Reductions of slanted distances and of two-face inclinations, through the network.

Forms: US Navy, "Engineering Aid Basic" training course, ch. 12, "Correcting for slope" (the correction is always
subtracted); J. Mahun, "Total Station Instruments", ch. D (principle of reversion). Figures recomputed
independently unless a source stands beside them.
"""

from __future__ import annotations

from math import radians, sin

import numpy as np
import pytest

from axledger.geometry.adjustment import Adjusted, Equations, adjust
from axledger.geometry.vehicle_network import Distances, Inclinations, Points, VehicleNetwork


def numbers(*values: int) -> np.ndarray:
    return np.array(values, dtype=np.int64)


def slanted(rise_m: float) -> VehicleNetwork:
    """Return two points, the second ahead by the one parameter and higher by ``rise_m``, and a shot between."""
    return VehicleNetwork(
        size=1,
        points=Points(
            axle_x=numbers(1, 0),
            axle_y=numbers(1, 1),
            axle_yaw=numbers(1, 1),
            steer=numbers(1, 1),
            base=np.zeros((2, 2)),
            pivot=np.zeros((2, 2)),
            local=np.zeros((2, 2)),
            local_by=np.zeros((2, 2, 1)),
            outer_by=np.zeros((2, 2, 1)),
            height=np.array([0.0, rise_m]),
        ),
        distances=Distances(start=numbers(0), end=numbers(1), zero=numbers(1), scale=numbers(1)),
        inclinations=Inclinations(slope=numbers(), zero=numbers(), sign=np.zeros(0)),
    )


def level_m(slope_m: float, rise_m: float, sd_m: float = 1e-3) -> Adjusted:
    """Solve for the horizontal distance of one slanted reading."""
    network = slanted(rise_m)
    return adjust(
        Equations(
            predict=network.predict,
            observed=np.array([slope_m]),
            sd=np.array([sd_m]),
            prior=np.array([slope_m]),
            prior_sd=np.array([np.inf]),
        )
    )


@pytest.mark.parametrize(
    ("slope_mm", "rise_mm", "level_mm"),
    [(6000.0, 100.0, 5999.166609), (12000.0, 50.0, 11999.895833), (2000.0, 20.0, 1999.899997)],
)
def test_slope_to_horizontal(slope_mm: float, rise_mm: float, level_mm: float) -> None:
    adjusted = level_m(slope_mm / 1000, rise_mm / 1000)
    assert float(adjusted.x[0]) * 1000 == pytest.approx(level_mm, abs=6e-7, rel=0)
    assert (adjusted.converged, adjusted.minimum, adjusted.freedom) == (True, True, 0)


@pytest.mark.parametrize(
    ("slope_m", "angle_deg", "correction_m"),
    [
        (1.0, 0.5, 0.038077e-3),
        (1.0, 1.0, 0.152305e-3),
        (1.0, 2.0, 0.609173e-3),
        (1.0, 3.0, 1.370465e-3),
        (10.993, 25.0, 1.029958),  # an online calculator's printed example says 1.0300
    ],
)
def test_correction_by_angle(slope_m: float, angle_deg: float, correction_m: float) -> None:
    adjusted = level_m(slope_m, slope_m * sin(radians(angle_deg)))
    assert slope_m - float(adjusted.x[0]) == pytest.approx(correction_m, abs=6e-10 if slope_m == 1.0 else 6e-7)


def test_a_tilt_error_moves_the_horizontal_distance() -> None:
    # S sin t dt: 6 m at 2 degrees, an error of 0.1 degree moves it by 0.365 mm
    moved = [float(level_m(6.0, 6.0 * sin(radians(angle))).x[0]) for angle in (1.95, 2.05)]
    assert (moved[0] - moved[1]) * 1000 == pytest.approx(0.365, abs=6e-4)


def test_both_directions_read_the_same() -> None:
    network = slanted(0.1)
    reverse = VehicleNetwork(
        1, network.points, Distances(start=numbers(1), end=numbers(0), zero=numbers(1), scale=numbers(1)),
        network.inclinations,
    )  # fmt: skip
    x = np.array([5.999166609])
    assert network.predict(x)[0].tolist() == reverse.predict(x)[0].tolist()


def two_faces(first_rad: float, second_rad: float, zero_sd_rad: float, sd_rad: float) -> Adjusted:
    """Solve slope and zero error of an inclinometer from a reading and one turned end for end."""
    network = slanted(0.0)
    network = VehicleNetwork(
        2,
        Points(
            axle_x=network.points.axle_x * 0 + 2,
            axle_y=network.points.axle_y * 0 + 2,
            axle_yaw=network.points.axle_yaw * 0 + 2,
            steer=network.points.steer * 0 + 2,
            base=np.array([[0.0, 0.0], [1.0, 0.0]]),
            pivot=np.zeros((2, 2)),
            local=np.zeros((2, 2)),
            local_by=np.zeros((2, 2, 2)),
            outer_by=np.zeros((2, 2, 2)),
            height=np.zeros(2),
        ),
        Distances(start=numbers(), end=numbers(), zero=numbers(), scale=numbers()),
        Inclinations(slope=numbers(0, 0), zero=numbers(1, 1), sign=np.array([1.0, -1.0])),
    )
    return adjust(
        Equations(
            predict=network.predict,
            observed=np.array([first_rad, second_rad]),
            sd=np.full(2, sd_rad),
            prior=np.zeros(2),
            prior_sd=np.array([np.inf, zero_sd_rad]),
        )
    )


def test_reversal_separates_slope_and_zero_error() -> None:
    # 0.62 and -0.48 degrees: slope 0.55, zero error 0.07 (recomputed; form as in Mahun, ch. D)
    adjusted = two_faces(radians(0.62), radians(-0.48), np.inf, radians(0.02))
    assert np.degrees(adjusted.x).tolist() == pytest.approx([0.55, 0.07], abs=1e-12)
    # each is half of a sum or difference of two readings: sd / sqrt 2
    assert np.degrees(np.sqrt(np.diag(adjusted.covariance))).tolist() == pytest.approx([0.02 / 2**0.5] * 2, rel=1e-12)


def test_a_known_zero_error_pulls_the_reversal_by_its_weight() -> None:
    # the two-face zero 0.07 has sd 0.02/sqrt 2, the prior 0 has 0.05: weighted mean 0.0648148; computed by hand
    adjusted = two_faces(radians(0.62), radians(-0.48), radians(0.05), radians(0.02))
    assert np.degrees(adjusted.x).tolist() == pytest.approx([0.55, 0.07 * 5000 / (5000 + 400)], abs=1e-12)
