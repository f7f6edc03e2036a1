"""Consequences of whole jobs, against the vehicle's truth."""

from __future__ import annotations

from collections.abc import Callable
from math import radians, sin, tan
from typing import Any

import pytest

from axledger.job.consequences import consequences_of
from axledger.job.library import load_layout
from axledger_simulators.planting import PlantedFaults

Make = Callable[..., Any]
RIGHT = PlantedFaults(deviations=0.0, settings=0.0, unevenness=0.0, yaw_deg={"trailer.axle1": -0.4})


def test_a_trailer_axle_that_points_right_drags_and_runs_to_the_right(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-1axle", repeats=1, faults=RIGHT)
    bay.finish()
    axle, rear = consequences_of(bay.layout, bay.fold.solution().results)
    # derived: 1000 tan a, and L sin a with 8 m from pin to axle; rounding of readings left
    dragged = axle.sideways_m_per_km
    assert dragged is not None
    assert dragged == pytest.approx(-1000 * tan(radians(0.4)), abs=0.3)
    assert rear.rear_offset_m == pytest.approx(-8.0 * sin(radians(0.4)), abs=2e-3)
    assert axle.words == f"axle pulls to the right: {-dragged:.1f} m sideways in a kilometre (derived)"
    assert rear.words.startswith("the rear of the semitrailer runs ")
    assert rear.words.endswith("mm to the right of its front (derived)")


def test_nothing_is_said_of_what_is_not_known(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-1axle", repeats=1)
    bay.level()
    assert consequences_of(bay.layout, bay.fold.solution().results) == ()
    assert consequences_of(load_layout("tractor-6x4"), ()) == ()


def test_a_tractor_is_steered_at_its_first_axle(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2", repeats=1)
    bay.finish()
    found = consequences_of(bay.layout, bay.fold.solution().results)
    assert [one.key for one in found] == ["tractor.drive.squareness", "tractor"]
