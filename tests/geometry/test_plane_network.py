from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from axledger.geometry.plane_network import PlaneDistance, adjust_plane, inner_constraints


@settings(deadline=None, max_examples=50)
@given(arrays(np.float64, (4, 2), elements=st.floats(-1e4, 1e4)))
def test_inner_constraints_are_the_moves_that_change_no_distance(points: np.ndarray) -> None:
    basis = inner_constraints(points)
    assert basis.shape == (8, 3)
    for column in basis.T:
        moves = column.reshape(-1, 2)
        for first in range(4):
            for second in range(first):
                line, apart = points[first] - points[second], moves[first] - moves[second]
                assert float(line @ apart) == pytest.approx(0.0, abs=1e-12 * (1.0 + float(line @ line)))


def test_unknown_points_come_in_the_order_given_and_fixed_points_stay() -> None:
    lines = [PlaneDistance("A", "Q", 5.0, 1e-3), PlaneDistance("Q", "B", 5.0, 1e-3)]
    lines += [PlaneDistance("A", "P", 5.0, 1e-3), PlaneDistance("B", "P", 5.0, 1e-3)]
    names, adjusted = adjust_plane({"Q": (0.1, -3.9), "P": (0.0, 4.1)}, lines, fixed={"A": (-3, 0), "B": (3, 0)})
    assert names == ("Q", "P")
    assert adjusted.x.tolist() == pytest.approx([0.0, -4.0, 0.0, 4.0], abs=1e-9)
    assert adjusted.freedom == 0


@pytest.mark.parametrize("shift", [(0.0, 0.0), (3.5e6, 5.7e6)])
def test_large_coordinates_keep_their_digits(shift: tuple[float, float]) -> None:
    places = np.array([[0.0, 0.0], [900.0, 40.0], [400.0, 700.0]]) + shift
    names = ("A", "B", "C")
    lines = [
        PlaneDistance(names[i], names[j], float(np.hypot(*(places[i] - places[j]))), 1e-3)
        for i, j in ((0, 1), (1, 2), (0, 2))
    ]
    _, adjusted = adjust_plane({n: (x + 0.02, y) for n, (x, y) in zip(names, places.tolist(), strict=True)}, lines)
    assert adjusted.residual.tolist() == pytest.approx([0.0] * 3, abs=2e-9)
    assert adjusted.freedom == 0
