"""Plane figures of axles: what they can check, and how diagonals and offsets mislead.

No source prints these figures; every value was derived and recomputed independently in double precision. The
formulas quoted are those of plane trigonometry, with h half the distance between the two marks of an axle, L the
distance between axles, a the yaw (left end rearward positive) and e the offset to the left.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees, radians

import numpy as np
import pytest

from axledger.geometry.adjustment import Adjusted, Equations, adjust
from axledger.geometry.plane_network import PlaneDistance, adjust_plane
from axledger.geometry.results import AxleGeometry, UnitGeometry, evaluate
from axledger.geometry.vehicle_network import Distances, Inclinations, Points, VehicleNetwork

MM = 1e-3
NOTHING = Inclinations(slope=np.zeros(0, np.int64), zero=np.zeros(0, np.int64), sign=np.zeros(0))
Spot = tuple[int, int, int, float, float, float, float]
"""Numbers of the parameters x, y, yaw (-1: none), base x and y, local x and y, m."""


def network(size: int, spots: Mapping[str, Spot], lines: list[str]) -> VehicleNetwork:
    """Build a flat network of named points and lines written ``A-B``."""
    names = list(spots)
    index = np.array([spot[:3] for spot in spots.values()], dtype=np.int64) % (size + 1)
    numbers = np.array([[names.index(end) for end in line.split("-")] for line in lines], dtype=np.int64)
    none = np.full(len(names), size, dtype=np.int64)
    nothing = np.full(len(lines), size, dtype=np.int64)
    return VehicleNetwork(
        size=size,
        points=Points(
            axle_x=index[:, 0],
            axle_y=index[:, 1],
            axle_yaw=index[:, 2],
            steer=none,
            base=np.array([spot[3:5] for spot in spots.values()]),
            pivot=np.zeros((len(names), 2)),
            local=np.array([spot[5:7] for spot in spots.values()]),
            local_by=np.zeros((len(names), 2, size)),
            outer_by=np.zeros((len(names), 2, size)),
            height=np.zeros(len(names)),
        ),
        distances=Distances(start=numbers[:, 0], end=numbers[:, 1], zero=nothing, scale=nothing),
        inclinations=NOTHING,
    )


def solved(shape: VehicleNetwork, observed_mm: list[float], start_m: list[float]) -> Adjusted:
    """Adjust lengths of sd 1 mm with no prior at all."""
    return adjust(
        Equations(
            predict=shape.predict,
            observed=np.array(observed_mm) * MM,
            sd=np.full(len(observed_mm), MM),
            prior=np.array(start_m),
            prior_sd=np.full(len(start_m), np.inf),
        )
    )


# --- intersection of two distances ------------------------------------------------------------------------------


def test_two_distance_intersection_is_weak_across_the_beam() -> None:
    _, adjusted = adjust_plane(
        {"P": (1.0, 6.0)},
        [PlaneDistance("A", "P", 6.083, MM), PlaneDistance("B", "P", 6.080, MM)],
        fixed={"A": (0.0, 0.0), "B": (2.0, 0.0)},
    )
    assert (adjusted.x / MM).tolist() == pytest.approx([1009.12225, 5998.713302], abs=1e-6)
    assert (np.sqrt(np.diag(adjusted.covariance)) / MM).tolist() == pytest.approx([4.3003, 0.7169], abs=5e-5)


# --- four points, six distances: one degree of freedom -----------------------------------------------------------

SIX = ["FL-FR", "RL-RR", "FL-RL", "FR-RR", "FL-RR", "FR-RL"]
# datum: FL fixed at (0, 1), FR on x = 0; parameters: y of FR, then x and y of RL and RR
FOUR_POINTS: dict[str, Spot] = {
    "FL": (-1, -1, -1, 0.0, 1.0, 0.0, 0.0),
    "FR": (-1, 0, -1, 0.0, 0.0, 0.0, 0.0),
    "RL": (1, 2, -1, 0.0, 0.0, 0.0, 0.0),
    "RR": (3, 4, -1, 0.0, 0.0, 0.0, 0.0),
}
SIX_READ_MM = [2000.3, 2000.0, 6003.4, 5996.6, 6320.9, 6328.2]


def four_points(observed_mm: list[float]) -> Adjusted:
    return solved(network(5, FOUR_POINTS, SIX), observed_mm, [-1.0, -6.0, 1.0, -6.0, -1.0])


def accused(adjusted: Adjusted) -> np.ndarray:
    """Return |w|: residuals in units of their standard deviations (Baarda, 1968)."""
    return np.abs(adjusted.residual) / (MM * np.sqrt(adjusted.redundancy))


def test_axle_quadrilateral_lengths() -> None:
    predicted, _ = network(5, FOUR_POINTS, SIX).predict(np.array([-1000.0, -6003, 1004, -5997, -996]) * MM)
    assert (predicted / MM).tolist() == pytest.approx(
        [2000.0, 2000.009000, 6003.001333, 5997.001334, 6320.445000, 6328.666921], abs=6e-7
    )


def test_six_distances_of_four_points() -> None:
    adjusted = four_points(SIX_READ_MM)
    assert adjusted.freedom == 1
    assert (adjusted.residual / MM).tolist() == pytest.approx(
        [-0.0080, -0.0080, -0.0241, -0.0241, 0.0254, 0.0254], abs=6e-5
    )
    assert adjusted.redundancy.tolist() == pytest.approx([0.0250, 0.0250, 0.2247, 0.2253, 0.2497, 0.2503], abs=6e-5)
    assert (adjusted.x[1:] / MM).tolist() == pytest.approx([-6003.3758, 1001.1864, -5996.5757, -998.7940], abs=6e-5)
    assert (np.sqrt(np.diag(adjusted.covariance))[1:3] / MM).tolist() == pytest.approx([0.88, 3.16], abs=0.005)
    across = adjusted.x[1:3] - adjusted.x[3:5]
    assert degrees(np.arctan2(-across[0], across[1])) == pytest.approx(0.194810, abs=1e-6)


def test_four_points_detect_a_wrong_length_and_cannot_locate_it() -> None:
    fair = accused(four_points(SIX_READ_MM))
    assert fair.tolist() == pytest.approx([0.0508] * 6, abs=6e-5)
    wrong = four_points(
        [length + (10.0 if line == "FL-RL" else 0.0) for line, length in zip(SIX, SIX_READ_MM, strict=True)]
    )
    assert accused(wrong).tolist() == pytest.approx([4.790] * 6, abs=6e-4)
    assert wrong.square_sum == pytest.approx(22.941, abs=6e-4)


def test_smallest_blunder_found_in_four_points() -> None:
    # delta0 4.132148 at 0.001 and power 0.80 (Baarda, 1968); recomputed
    smallest = 4.132148 / np.sqrt(four_points(SIX_READ_MM).redundancy)
    assert smallest[:2].tolist() == pytest.approx([26.1, 26.1], abs=0.06)
    assert np.all((smallest[2:] > 8.2) & (smallest[2:] < 8.75))


# --- six points -------------------------------------------------------------------------------------------------

SIX_POINTS_MM = {
    "FL": (0.0, 1000.0), "FR": (0.0, -1000.0), "L1": (-5000.0, 950.0), "R1": (-5000.0, -950.0),
    "L2": (-6300.0, 950.0), "R2": (-6300.0, -950.0),
}  # fmt: skip


def six_points(lines: list[str]) -> dict[str, float]:
    """Return the redundancy of each line, the figure free and every length right."""
    places = {name: (x * MM, y * MM) for name, (x, y) in SIX_POINTS_MM.items()}
    shots = [
        PlaneDistance(start, end, float(np.hypot(*(np.array(places[end]) - places[start]))), MM)
        for start, end in (line.split("-") for line in lines)
    ]
    _, adjusted = adjust_plane(places, shots)
    assert float(np.sum(adjusted.redundancy)) == pytest.approx(adjusted.freedom, abs=1e-9)
    return dict(zip(lines, adjusted.redundancy.tolist(), strict=True))


ELEVEN = {
    "FL-FR": 0.0315, "L1-R1": 0.1943, "L2-R2": 0.1713, "FL-L1": 0.2183, "FR-R1": 0.2183, "L1-L2": 0.0802,
    "R1-R2": 0.0802, "FL-R1": 0.2515, "FR-L1": 0.2515, "L1-R2": 0.2515, "R1-L2": 0.2515,
}  # fmt: skip
FIFTEEN = {
    "FL-FR": 0.0514, "FL-L1": 0.5036, "FR-R1": 0.5036, "FL-R1": 0.4484, "FR-L1": 0.4484, "FL-L2": 0.4708,
    "FR-R2": 0.4708, "FL-R2": 0.5364, "FR-L2": 0.5364, "L1-R1": 0.2348, "L1-L2": 0.5022, "R1-R2": 0.5022,
    "L1-R2": 0.3010, "R1-L2": 0.3010, "L2-R2": 0.1892,
}  # fmt: skip


@pytest.mark.parametrize(("figures", "freedom"), [(ELEVEN, 2.0), (FIFTEEN, 6.0)], ids=["eleven", "fifteen"])
def test_redundancies_of_six_points(figures: dict[str, float], freedom: float) -> None:
    found = six_points(list(figures))
    assert sum(found.values()) == pytest.approx(freedom, abs=1e-9)
    assert found == pytest.approx(figures, abs=6e-5)


# --- diagonals, sides, yaw and offset ---------------------------------------------------------------------------

# front axle square on the reference line, marks 1 m to each side; the rear axle 6 m behind, its x, y, yaw free
TWO_AXLES: dict[str, Spot] = {
    "FL": (-1, -1, -1, 0.0, 0.0, 0.0, 1.0),
    "FR": (-1, -1, -1, 0.0, 0.0, 0.0, -1.0),
    "RL": (0, 1, 2, -6.0, 0.0, 0.0, 1.0),
    "RR": (0, 1, 2, -6.0, 0.0, 0.0, -1.0),
}
DIAGONALS, SIDES = ["FL-RR", "FR-RL"], ["FL-RL", "FR-RR"]


@pytest.mark.parametrize(
    ("yaw_deg", "offset_mm", "diagonals_mm"),
    [
        (0.2, 0.0, (6321.241966, 6327.865014)),
        (0.0, 5.0, (6322.975961, 6326.138238)),
        (0.2, 5.0, (6319.661784, 6329.447098)),
    ],
)
def test_diagonals_of_a_turned_and_shifted_axle(
    yaw_deg: float, offset_mm: float, diagonals_mm: tuple[float, float]
) -> None:
    x = np.array([0.0, offset_mm * MM, radians(yaw_deg)])
    predicted, _ = network(3, TWO_AXLES, DIAGONALS).predict(x)
    assert (predicted / MM).tolist() == pytest.approx(diagonals_mm, abs=6e-7)
    d1, d2 = predicted
    h, length = 1.0, 6.0
    said = 4 * h * (length * np.sin(x[2]) + x[1] * (1 + np.cos(x[2])))
    assert d2**2 - d1**2 == pytest.approx(said, abs=1e-12)


@pytest.mark.parametrize(
    ("diagonals_mm", "false_yaw_deg"),
    [
        ((6321.241966, 6327.865014), 0.2),
        ((6322.975961, 6326.138238), 0.095493),  # the axle is square, 5 mm aside
        ((6319.661784, 6329.447098), 0.295494),  # true yaw 0.2, 5 mm aside
    ],
)
def test_diagonals_alone_take_an_offset_for_yaw(diagonals_mm: tuple[float, float], false_yaw_deg: float) -> None:
    on_line = {name: (s[0], -1, 1 if s[2] >= 0 else -1, s[3], s[4], s[5], s[6]) for name, s in TWO_AXLES.items()}
    adjusted = solved(network(2, on_line, DIAGONALS), list(diagonals_mm), [0.0, 0.0])
    assert degrees(adjusted.x[1]) == pytest.approx(false_yaw_deg, abs=2e-6)


def test_sides_and_diagonals_together_tell_yaw_from_offset() -> None:
    sides = [6003.492728, 5996.511438]
    predicted, _ = network(3, TWO_AXLES, SIDES).predict(np.array([0.0, 5 * MM, radians(0.2)]))
    assert (predicted / MM).tolist() == pytest.approx(sides, abs=6e-7)
    shape = network(3, TWO_AXLES, [*DIAGONALS, *SIDES])
    adjusted = solved(shape, [6319.661784, 6329.447098, *sides], [0.0, 0.0, 0.0])
    assert adjusted.freedom == 1
    assert adjusted.x[1] / MM == pytest.approx(5.0, abs=1e-6)
    assert degrees(adjusted.x[2]) == pytest.approx(0.2, abs=1e-7)


# --- results of hand-made axles ---------------------------------------------------------------------------------


def trailer(reference_x_m: float, *places_m: float) -> UnitGeometry:
    """Return a towed unit with a pin; axle ``n`` has parameters x ``3 n``, y ``3 n + 1``, yaw ``3 n + 2``."""
    axles = tuple(
        AxleGeometry(
            id=f"axle{n + 1}", name=f"axle {n + 1}", group="rear", driven=True, x=3 * n, y=3 * n + 1, yaw=3 * n + 2,
            x_m=x_m, wheel_half_m=1.0,
        )
        for n, x_m in enumerate(places_m)
    )  # fmt: skip
    return UnitGeometry(
        id="t", name="trailer", powered=False, reference="coupling", pin_x_m=reference_x_m, toe_diameter_m=1.0,
        axles=axles,
    )  # fmt: skip


def degrees_of(unit: UnitGeometry, x: list[float]) -> dict[str, float]:
    return {f.key: degrees(f.value.value) for f in evaluate(unit, np.array(x)) if f.unit == "deg"}


@pytest.mark.parametrize(
    ("yaw_deg", "offset_mm", "ends_mm", "seen_deg"),
    [
        (0.15, 0.0, (10052.480282, 10047.270285), 0.150000),
        (0.15, 5.0, (10052.978901, 10046.773871), 0.178648),
        (0.0, 5.0, None, 0.028648),
    ],
)
def test_coupling_to_axle_ends_sees_an_offset_as_yaw(
    yaw_deg: float, offset_mm: float, ends_mm: tuple[float, float] | None, seen_deg: float
) -> None:
    x = [0.0, offset_mm * MM, radians(yaw_deg)]
    figure: dict[str, Spot] = {
        "K": (-1, -1, -1, 0.0, 0.0, 0.0, 0.0),
        "L": (0, 1, 2, -10.0, 0.0, 0.0, 1.0),
        "R": (0, 1, 2, -10.0, 0.0, 0.0, -1.0),
    }
    predicted, _ = network(3, figure, ["K-L", "K-R"]).predict(np.array(x))
    if ends_mm is not None:
        assert (predicted / MM).tolist() == pytest.approx(ends_mm, abs=6e-7)
    # against the line from the pin to the axle's middle the offset is yaw: what the two distances see
    assert degrees_of(trailer(0.0, -10.0), x)["t.axle1.squareness"] == pytest.approx(seen_deg, abs=6e-7)
    short = degrees(np.arcsin((predicted[0] ** 2 - predicted[1] ** 2) / (4 * 10.0 * 1.0)))
    assert short == pytest.approx(seen_deg, abs=2e-6)


def test_axle_pair_has_mean_heading_and_scrub() -> None:
    # +0.10 and -0.04 degrees: mean 0.03, scrub 0.14
    unit = trailer(0.0, -9.35, -10.65)
    found = degrees_of(unit, [0.0, 0.0, radians(0.10), 0.0, 0.0, radians(-0.04)])
    assert found["t.axle1.thrust"] == pytest.approx(0.03, abs=1e-12)
    assert found["t.axle2.parallelism"] == pytest.approx(-0.14, abs=1e-12)


def test_unequal_sides_give_yaw_of_a_rear_axle() -> None:
    # a = atan((L_L - L_R)/b): sides 6003.0 and 5997.0 along the line, marks 2000 apart across it: 0.171887
    yaw_rad = radians(0.171887)
    half_m = 1.0 / np.cos(yaw_rad)
    steer = AxleGeometry(
        id="s", name="steer axle", group="front", driven=False, x=0, y=1, yaw=2, x_m=0.0, wheel_half_m=1.0,
        steer=(3, 4),
    )  # fmt: skip
    rear = AxleGeometry(
        id="r", name="rear axle", group="rear", driven=True, x=5, y=6, yaw=7, x_m=-6.0, wheel_half_m=half_m
    )
    unit = UnitGeometry(
        id="t", name="tractor", powered=True, reference="frame", pin_x_m=0.0, toe_diameter_m=1.0, axles=(steer, rear)
    )
    found = {f.key: f.value.value / MM for f in evaluate(unit, np.array([0.0] * 7 + [yaw_rad])) if f.unit == "mm"}
    assert found["t.r.wheelbase.left"] == pytest.approx(6003.0, abs=1e-5)
    assert found["t.r.wheelbase.right"] == pytest.approx(5997.0, abs=1e-5)
    assert found["t.r.wheelbase.difference"] == pytest.approx(6.0, abs=2e-5)
