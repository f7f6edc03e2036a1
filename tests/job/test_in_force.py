from __future__ import annotations

import json
import math

import pytest

from axledger.job.in_force import InForce, Known, in_force_body, in_force_from, marks_of, targets_of
from axledger.job.library import load_layout
from axledger.job.settings import MountKind
from axledger_calibration.cusum import Sums

KNOWN = Known(bias_mm=0.4, u_mm=0.1, reference_mm=0.3, reference_u_mm=0.2, count=3, sums=Sums(1.0, 0.2))


def test_marks_run_over_the_whole_vehicle_by_kind_and_side() -> None:
    marks = marks_of(load_layout("tractor-4x2-semitrailer-3axle"))
    assert marks["S1L"] == "straightedge-1L"
    assert (marks["D1Lh"], marks["T1Lh"], marks["T3Rh"]) == ("hub-1L", "hub-2L", "hub-4R")
    assert (marks["F0L"], marks["F2R"]) == ("rail-1L", "rail-2R")
    assert len(set(marks.values())) == len(marks)


def test_pins_and_floor_are_no_targets() -> None:
    places = targets_of(load_layout("semitrailer-2axle"))
    assert places["T1Lh"] == (MountKind.HUB, "L")
    assert places["T2Ri"] == (MountKind.INBOARD, "R")
    assert not {"K", "GT"} & set(places)


def test_a_target_on_the_other_side_counts_the_other_way() -> None:
    turned = KNOWN.turned
    assert (turned.bias_mm, turned.reference_mm, turned.sums) == (-0.4, -0.3, Sums(0.2, 1.0))
    assert turned.turned == KNOWN


def test_it_is_read_as_it_was_written() -> None:
    in_force = InForce(
        weights={MountKind.RAIL: (0.1, 0.2, 0.3, 0.4)}, freedom={MountKind.RAIL: 2.5}, targets={"F0L": KNOWN},
        marks={"F0L": "rail-1L"},
    )  # fmt: skip
    body = json.loads(json.dumps(in_force_body(in_force)))
    assert in_force_from(body, {"F0L": "rail-1L"}) == in_force
    assert in_force_from({}, {}) == InForce()


def test_factors_are_taken_at_the_weights_mean_log_and_as_stated_while_nothing_is_known() -> None:
    in_force = InForce(weights={MountKind.RAIL: (0.5, 0.0, 0.5, 0.0)}, targets={"F0L": KNOWN})
    assert in_force.factor(MountKind.RAIL) == pytest.approx(math.sqrt(2.0))  # mean of ln 1 and ln 2
    assert in_force.factor(MountKind.HUB) == 1.0
    assert InForce.believed().factor(MountKind.HUB) == 1.0
    assert InForce.believed().weights_of(MountKind.HUB) == (0, 1, 0, 0, 0, 0)
    assert in_force.without_targets().targets == {}
    assert in_force.without_targets().weights == in_force.weights
