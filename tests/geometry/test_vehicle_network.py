"""The vehicle's network: its Jacobian against differences, and what may not change when the whole thing moves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import cos, hypot, radians, sin

import numpy as np
import pytest

from axledger.geometry.vehicle_network import Distances, Inclinations, Points, VehicleNetwork
from axledger.job.model import Model

LAYOUTS = ("tractor-4x2", "tractor-6x4", "rigid-6x4", "semitrailer-1axle", "tractor-4x2-semitrailer-3axle")
Draw = Callable[[Model, int], np.ndarray]


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_jacobians_against_central_differences(
    model_of: Callable[[str], Model], lifelike: Draw, name: str, seed: int
) -> None:
    network, x = model_of(name).network, lifelike(model_of(name), seed)
    _, by_reading = network.predict(x)
    _, by_place = network.places(x)
    step = 1e-5
    for number in range(network.size):
        change = np.zeros(network.size)
        change[number] = step
        reading = (network.predict(x + change)[0] - network.predict(x - change)[0]) / (2 * step)
        place = (network.places(x + change)[0] - network.places(x - change)[0]) / (2 * step)
        assert by_reading[:, number] == pytest.approx(reading, abs=1e-8)
        assert by_place[:, :, number] == pytest.approx(place, abs=1e-8)


def moved(network: VehicleNetwork, *, shift: tuple[float, float], turn_rad: float, unit: slice) -> VehicleNetwork:
    """Return the network with the layout itself of the points ``unit`` shifted and turned, where nothing is fixed
    to the frame by a yaw or an axle place of its own: base, pivot, local and their derivatives all turn."""
    c, s = cos(turn_rad), sin(turn_rad)
    rotation = np.array([[c, -s], [s, c]])
    points = network.points

    def turned(values: np.ndarray) -> np.ndarray:
        changed = values.copy()
        changed[unit] = np.einsum("ij,kj...->ki...", rotation, values[unit])
        return changed

    base = turned(points.base)
    base[unit] += shift
    return replace(
        network,
        points=replace(
            points,
            base=base,
            pivot=turned(points.pivot),
            local=turned(points.local),
            local_by=turned(points.local_by),
            outer_by=turned(points.outer_by),
        ),
    )


def without_axle_shifts(network: VehicleNetwork) -> VehicleNetwork:
    """Return the network with every axle's x and y held: what is left turns about middles and must follow."""
    held = np.full_like(network.points.axle_x, network.size)
    return replace(network, points=replace(network.points, axle_x=held, axle_y=held))


@pytest.mark.parametrize("name", ["tractor-6x4", "semitrailer-3axle"])
def test_a_shift_or_turn_of_the_whole_unit_changes_no_reading(
    model_of: Callable[[str], Model], lifelike: Draw, name: str
) -> None:
    model = model_of(name)
    network, x = without_axle_shifts(model.network), lifelike(model, 5)
    everything = slice(None)
    readings, jacobian = network.predict(x)
    for shift, turn_rad in (((3.0, -8.0), 0.0), ((0.0, 0.0), 0.7), ((-12.0, 4.0), -2.1)):
        elsewhere, by_elsewhere = moved(network, shift=shift, turn_rad=turn_rad, unit=everything).predict(x)
        assert elsewhere == pytest.approx(readings, abs=1e-12)
        assert by_elsewhere == pytest.approx(jacobian, abs=1e-12)


@pytest.mark.parametrize("name", LAYOUTS)
def test_a_shift_of_the_heights_changes_no_reading(model_of: Callable[[str], Model], lifelike: Draw, name: str) -> None:
    model = model_of(name)
    network, x = model.network, lifelike(model, 6)
    higher = replace(network, points=replace(network.points, height=network.points.height + 0.4))
    assert higher.predict(x)[0] == pytest.approx(network.predict(x)[0], abs=1e-12)


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_ends_of_a_shot_may_be_exchanged(model_of: Callable[[str], Model], lifelike: Draw, name: str) -> None:
    model = model_of(name)
    network, x = model.network, lifelike(model, 7)
    shots = network.distances
    back = replace(network, distances=replace(shots, start=shots.end, end=shots.start))
    readings, jacobian = network.predict(x)
    again, by_again = back.predict(x)
    assert again.tolist() == readings.tolist()
    assert by_again == pytest.approx(jacobian, abs=1e-15)


def mirrored_points(points: Points) -> Points:
    """Return the points with left and right exchanged in all that the layout says about them."""
    flip = np.array([1.0, -1.0])
    return replace(
        points,
        base=points.base * flip,
        pivot=points.pivot * flip,
        local=points.local * flip,
        local_by=points.local_by * flip[:, None],
        outer_by=points.outer_by * flip[:, None],
    )


@pytest.mark.parametrize("name", LAYOUTS)
def test_a_mirrored_vehicle_reads_the_same_with_mirrored_turns(
    model_of: Callable[[str], Model], lifelike: Draw, name: str
) -> None:
    model = model_of(name)
    network, x = model.network, lifelike(model, 8)
    turns = sorted({*network.points.axle_yaw.tolist(), *network.points.steer.tolist()} - {network.size})
    aside = sorted(set(network.points.axle_y.tolist()) - {network.size})
    sign = np.ones(network.size)
    sign[[*turns, *aside]] = -1.0
    mirror = replace(network, points=mirrored_points(network.points))
    readings, jacobian = network.predict(x)
    same, by_same = mirror.predict(x * sign)
    assert same == pytest.approx(readings, abs=1e-13)
    assert by_same * sign == pytest.approx(jacobian, abs=1e-12)


def index(*numbers: int) -> np.ndarray:
    return np.array(numbers, dtype=np.int64)


def test_one_point_written_out() -> None:
    """Place by hand: base + axle + R(yaw)(pivot + R(steer) local) + outer, every number different."""
    x = np.array([0.03, -0.02, 0.01, -0.04, 0.005, 0.02])  # axle x, axle y, yaw, steer, out, slope
    local_by, outer_by = np.zeros((1, 2, 6)), np.zeros((1, 2, 6))
    local_by[0, 1, 4], outer_by[0, 0, 5] = 1.0, -0.3
    points = Points(
        axle_x=index(0), axle_y=index(1), axle_yaw=index(2), steer=index(3), base=np.array([[-3.0, 0.0]]),
        pivot=np.array([[0.0, 0.86]]), local=np.array([[0.6, 0.4]]), local_by=local_by, outer_by=outer_by,
        height=np.array([0.15]),
    )  # fmt: skip
    network = VehicleNetwork(
        6, points, Distances(start=index(), end=index(), zero=index(), scale=index()),
        Inclinations(slope=index(), zero=index(), sign=np.zeros(0)),
    )  # fmt: skip
    wheel_x = 0.6 * cos(-0.04) - 0.405 * sin(-0.04)
    wheel_y = 0.86 + 0.6 * sin(-0.04) + 0.405 * cos(-0.04)
    place, _ = network.places(x)
    assert place[0, 0] == pytest.approx(-3.0 + 0.03 + wheel_x * cos(0.01) - wheel_y * sin(0.01) - 0.3 * 0.02, abs=1e-15)
    assert place[0, 1] == pytest.approx(-0.02 + wheel_x * sin(0.01) + wheel_y * cos(0.01), abs=1e-15)


def test_zero_and_scale_of_a_reading() -> None:
    # true = reading + zero + scale * reading
    fixed = index(2, 2)
    points = Points(
        axle_x=fixed, axle_y=fixed, axle_yaw=fixed, steer=fixed, base=np.array([[0.0, 0.0], [3.0, 4.0]]),
        pivot=np.zeros((2, 2)), local=np.zeros((2, 2)), local_by=np.zeros((2, 2, 2)), outer_by=np.zeros((2, 2, 2)),
        height=np.array([0.1, 0.4]),
    )  # fmt: skip
    network = VehicleNetwork(
        2, points, Distances(start=index(0), end=index(1), zero=index(0), scale=index(1)),
        Inclinations(slope=index(), zero=index(), sign=np.zeros(0)),
    )  # fmt: skip
    reading = float(network.predict(np.array([0.002, 1e-4]))[0][0])
    assert reading + 0.002 + 1e-4 * reading == pytest.approx(hypot(5.0, 0.3), abs=1e-15)


def test_inclinations_read_slope_and_zero_in_both_faces() -> None:
    fixed = index(2)
    points = Points(
        axle_x=fixed, axle_y=fixed, axle_yaw=fixed, steer=fixed, base=np.zeros((1, 2)), pivot=np.zeros((1, 2)),
        local=np.zeros((1, 2)), local_by=np.zeros((1, 2, 2)), outer_by=np.zeros((1, 2, 2)), height=np.zeros(1),
    )  # fmt: skip
    network = VehicleNetwork(
        2, points, Distances(start=index(), end=index(), zero=index(), scale=index()),
        Inclinations(slope=index(0, 0, 0), zero=index(1, 1, 2), sign=np.array([1.0, -1.0, 1.0])),
    )  # fmt: skip
    tilts, jacobian = network.predict(np.array([radians(0.55), radians(0.07)]))
    assert np.degrees(tilts).tolist() == pytest.approx([0.62, -0.48, 0.55], abs=1e-12)
    assert jacobian.tolist() == [[1.0, 1.0], [-1.0, 1.0], [1.0, 0.0]]
