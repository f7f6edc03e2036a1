"""Published snooping and reliability figures.

Constants: W. Baarda, "A testing procedure for use in geodetic networks" (1968), recomputed from the normal
distribution. Levelling set: F. Wicki, "Robuste Schaetzverfahren fuer die Parameterschaetzung in geodaetischen Netzen"
(1998), ch. 18.2, pp. 151-157; figures beyond the printed ones recomputed independently. Axle quadrilateral: derived,
an invented example. Here a residual is adjusted minus observed.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import pytest

from axledger.geometry.adjustment import Adjusted, Array, Equations, adjust
from axledger.geometry.plane_network import PlaneDistance
from axledger.geometry.reliability import critical_w, detectability, smallest_bias, snoop, w_tests


@pytest.mark.parametrize(
    ("alpha", "power", "critical", "delta0", "lambda0"),
    [
        (0.001, 0.80, 3.290527, 4.132148, 17.074647),
        (0.01, 0.80, 2.575829, 3.417451, 11.678968),
        (0.05, 0.80, 1.959964, 2.801585, 7.848880),
        (0.001, 0.90, 3.290527, 4.572078, 20.903900),
    ],
)
def test_the_constants_of_the_testing_procedure(
    alpha: float, power: float, critical: float, delta0: float, lambda0: float
) -> None:
    assert critical_w(alpha, 1) == pytest.approx(critical, abs=5e-7)
    assert detectability(critical_w(alpha, 1), power) == pytest.approx(delta0, abs=5e-7)
    assert detectability(critical_w(alpha, 1), power) ** 2 == pytest.approx(lambda0, abs=5e-6)


# from, to, height difference mm, weight 1 / sigma^2; the first holds +100, the seventh -100 (as published)
WICKI = [
    (6, 8, 32159.0, 0.1276),
    (8, 10, -6556.0, 0.1372),
    (8, 11, 26170.0, 0.0772),
    (10, 11, 32726.0, 0.1041),
    (9, 6, -27809.0, 0.0693),
    (9, 11, 30419.0, 0.1041),
    (9, 10, -2417.0, 0.0918),
    (9, 8, 4246.0, 0.1372),
    (6, 10, 25496.0, 0.0865),
]
HEIGHTS = (6, 8, 10, 11)  # H9 = 0 is the datum


def levelled(rejected: Collection[int] = (), mended: Mapping[int, float] | None = None) -> tuple[Adjusted, Array]:
    kept = [
        (start, end, rise + (mended or {}).get(number, 0.0), weight)
        for number, (start, end, rise, weight) in enumerate(WICKI)
        if number not in rejected
    ]
    design = np.zeros((len(kept), len(HEIGHTS)))
    for number, (start, end, _, _) in enumerate(kept):
        for height, sign in ((end, 1.0), (start, -1.0)):
            if height in HEIGHTS:
                design[number, HEIGHTS.index(height)] += sign
    sd = np.array([weight**-0.5 for *_, weight in kept])
    adjusted = adjust(
        Equations(
            predict=lambda x: (design @ x, design),
            observed=np.array([row[2] for row in kept]),
            sd=sd,
            prior=np.zeros(len(HEIGHTS)),
            prior_sd=np.full(len(HEIGHTS), np.inf),
        )
    )
    return adjusted, sd


def test_wicki_two_blunders_are_rejected_one_after_the_other() -> None:
    rejections, adjusted = snoop(levelled, critical_w(0.001, 1))
    assert [rejection.number for rejection in rejections] == [6, 0]
    assert [rejection.w for rejection in rejections] == pytest.approx([25.37, -25.35], abs=0.005)
    assert [rejection.error for rejection in rejections] == pytest.approx([-105.1, 105.4], abs=0.05)
    sd = levelled([6, 0])[1]
    assert float(np.max(np.abs(w_tests(adjusted.residual, adjusted.redundancy, sd)))) == pytest.approx(0.82, abs=0.005)
    mended, _ = levelled(mended={0: -100.0, 6: 100.0})
    # recomputed; published -27811, 4246, -2313, 30416, of which the third is one unit off its own data
    assert mended.x.tolist() == pytest.approx([-27810.66, 4245.95, -2312.47, 30416.18], abs=0.005)


# Four points of two axles, six distances: front left fixed, front right on x = 0; sigma 1 mm, invented example.
QUADRILATERAL = {
    "FL-FR": 2000.3, "RL-RR": 2000.0, "FL-RL": 6003.4, "FR-RR": 5996.6, "FL-RR": 6320.9, "FR-RL": 6328.2,
}  # fmt: skip


def quadrilateral(more_mm: float = 0.0) -> Adjusted:
    """Adjust the quadrilateral in mm; ``more_mm`` is added to the left side."""
    lengths = {name: length + more_mm * (name == "FL-RL") for name, length in QUADRILATERAL.items()}
    ends = {name: name.split("-") for name in lengths}
    lines = [PlaneDistance(ends[name][0], ends[name][1], length, 1.0) for name, length in lengths.items()]

    def predict(x: Array) -> tuple[Array, Array]:
        places = {"FL": (0.0, 1000.0), "FR": (0.0, x[0]), "RL": (x[1], x[2]), "RR": (x[3], x[4])}
        columns = {"FL": (None, None), "FR": (None, 0), "RL": (1, 2), "RR": (3, 4)}
        length, by = np.zeros(6), np.zeros((6, 5))
        for number, line in enumerate(lines):
            dx, dy = (b - a for a, b in zip(places[line.start], places[line.end], strict=True))
            length[number] = np.hypot(dx, dy)
            for end, sign in ((line.end, 1.0), (line.start, -1.0)):
                for column, part in zip(columns[end], (dx, dy), strict=True):
                    if column is not None:
                        by[number, column] += sign * part / length[number]
        return length, by

    start = np.array([-1000.0, -6003.0, 1001.0, -5997.0, -999.0])
    return adjust(
        Equations(
            predict=predict, observed=np.array(list(lengths.values())), sd=np.ones(6), prior=start,
            prior_sd=np.full(5, np.inf),
        )
    )  # fmt: skip


def test_a_quadrilateral_of_six_distances_detects_but_cannot_locate() -> None:
    """Derived: one degree of freedom accuses all lines alike."""
    adjusted = quadrilateral()
    assert adjusted.residual.tolist() == pytest.approx(
        [-0.0080, -0.0080, -0.0241, -0.0241, 0.0254, 0.0254], abs=6e-5
    )  # fmt: skip
    assert adjusted.redundancy.tolist() == pytest.approx([0.0250, 0.0250, 0.2247, 0.2253, 0.2497, 0.2503], abs=6e-5)
    assert np.abs(w_tests(adjusted.residual, adjusted.redundancy, np.ones(6))).tolist() == pytest.approx(
        [0.0508] * 6, abs=6e-5
    )  # fmt: skip
    smallest = smallest_bias(np.ones(6), adjusted.redundancy, detectability(critical_w(0.001, 1), 0.80))
    assert float(smallest[0]) == pytest.approx(26.1, abs=0.05)
    assert float(np.min(smallest[2:])) == pytest.approx(8.3, abs=0.05)
    assert float(np.max(smallest[2:])) == pytest.approx(8.7, abs=0.05)
    wrong = quadrilateral(more_mm=10.0)
    assert np.abs(w_tests(wrong.residual, wrong.redundancy, np.ones(6))).tolist() == pytest.approx(
        [4.790] * 6, abs=6e-4
    )
    assert wrong.square_sum == pytest.approx(22.941, abs=6e-4)
