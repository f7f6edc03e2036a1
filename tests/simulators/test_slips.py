from __future__ import annotations

import numpy as np
import pytest

from axledger.job.layout import Layout, stations_of
from axledger_simulators.slips import (
    ALONE,
    SlipKind,
    Slipping,
    past_target,
    reference_edge,
    swapped_side,
    unit_taken_wrong,
    wrong_neighbour,
)


def test_swapped_side_hits_the_mirrored_mark(tractor: Layout) -> None:
    stations = stations_of(tractor.unit[0])
    slip = swapped_side("F0L", "S1Rf", stations)
    assert slip is not None
    assert slip.end == "S1Lf"
    assert swapped_side("S1Lf", "S1Rf", stations) is None  # the other side is where the meter stands


def test_wrong_neighbour_is_the_nearest_of_its_kind(tractor: Layout, combination: Layout) -> None:
    found = wrong_neighbour("F0L", "S1Rf", stations_of(tractor.unit[0]))
    assert found is not None
    assert found.end == "S1Rh"
    tandem = wrong_neighbour("S1Lr", "D1Lh", stations_of(combination.unit[0]))
    assert tandem is not None
    assert tandem.end == "D2Lh"
    assert wrong_neighbour("F0L", "D1Lh", stations_of(tractor.unit[0])) is None


def test_constants_of_edge_and_unit() -> None:
    assert reference_edge("D1Lh", 0.1).reading_m(4.318) == pytest.approx(4.218)
    # computed by hand: 4.318 m is 14 ft 2 in, 14.1667 ft
    assert unit_taken_wrong("D1Lh").reading_m(4.318) == pytest.approx(14.166667, abs=1e-6)


def test_a_wall_stands_between_six_and_nine_metres() -> None:
    rng = np.random.default_rng(1)
    walls = [past_target("D1Lh", rng).wall_m for _ in range(200)]
    assert 6.0 <= min(walls) < 6.3
    assert 8.7 < max(walls) <= 9.0


def test_slips_come_at_the_stated_rate_and_repeat_with_the_seed(tractor: Layout) -> None:
    stations = stations_of(tractor.unit[0])

    def played(rate: float) -> list[SlipKind | None]:
        hand = Slipping(3, rate)
        return [slip.kind if (slip := hand.next("F0L", "S1Rf", stations)) else None for _ in range(1000)]

    slips = played(0.1)
    assert slips == played(0.1)
    assert 60 < sum(kind is not None for kind in slips) < 140
    assert set(slips) - {None} == set(ALONE)
    assert played(0.0) == [None] * 1000
