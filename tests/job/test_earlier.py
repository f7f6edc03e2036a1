"""An axle moved since has parameters of its own for the earlier readings; all else is shared."""

from __future__ import annotations

import pytest

from axledger.job.layout import Layout
from axledger.job.library import load_layout
from axledger.job.lines import Sight
from axledger.job.model import Model, build_model
from axledger_simulators.kit import meter_record


def model_of(layout: Layout, *sights: Sight) -> Model:
    return build_model(layout, sights, (), meter=meter_record("m", "test"), inclinometer=None)


def own(model: Model) -> set[str]:
    return {name for name in model.names if "before" in name}


def test_an_axle_moved_since_has_a_place_of_its_own() -> None:
    layout = load_layout("semitrailer-2axle")
    now = model_of(layout, Sight("K", "T1Lh"), Sight("K", "T2Lh"))
    both = model_of(layout, Sight("K", "T1Lh"), Sight("K", "T2Lh"), Sight("K", "T1Lh", end_before=(1, 0)))
    assert own(now) == set()
    assert own(both) == {"trailer.T1.x.before1", "trailer.T1.y.before1", "trailer.T1.yaw.before1"}
    # the target is the same, with the same errors, and the results are those of the axle as it stands now
    assert set(both.names) - own(both) == set(now.names)
    assert [both.names[axle.yaw] for axle in both.units[0].axles] == ["trailer.T1.yaw", "trailer.T2.yaw"]


def test_the_datum_axle_too_has_stood_elsewhere() -> None:
    layout = load_layout("semitrailer-2axle")
    both = model_of(layout, Sight("K", "T2Lh"), Sight("K", "T2Lh", end_before=(2, 0)))
    assert own(both) == {"trailer.T2.x.before2", "trailer.T2.y.before2", "trailer.T2.yaw.before2"}


def test_wheels_turned_since_leave_the_axle_shared() -> None:
    both = model_of(load_layout("tractor-4x2"), Sight("F0L", "S1Lf"), Sight("F0L", "S1Lf", end_before=(0, 1)))
    assert own(both) == {"tractor.S1.steer.L.before1", "tractor.S1.steer.R.before1"}


def test_the_two_states_predict_the_same_only_where_nothing_moved() -> None:
    layout = load_layout("semitrailer-2axle")
    model = model_of(layout, Sight("K", "T1Lh"), Sight("K", "T1Lh", end_before=(1, 0)))
    x = model.prior.copy()
    readings, _ = model.network.predict(x)
    assert readings[0] == readings[1]
    x[model.names.index("trailer.T1.yaw.before1")] += 0.002
    readings, _ = model.network.predict(x)
    # the left end goes rearward, away from the pin: 1.3 m times 0.002 rad
    assert readings[1] - readings[0] == pytest.approx(0.0026, abs=3e-4)
