"""The zero a job's readings alone see, against the same job solved with nothing known of the zero beforehand."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import Quantity
from axledger.job.instruments_seen import InstrumentSeen, instruments_seen, seen_body, unweighted
from axledger.job.rounds import observed
from axledger.job.solution import Solver

FREE = 1e4
"""So many times wider than the record's prior: as good as free, and still a number."""


@given(
    st.floats(-5, 5), st.floats(0.01, 10), st.floats(-5, 5), st.floats(0.01, 10),
)  # fmt: skip
def test_taking_the_prior_out_undoes_the_weighted_mean(own: float, own_u: float, prior: float, prior_u: float) -> None:
    weight = own_u**-2 + prior_u**-2
    mean = (own / own_u**2 + prior / prior_u**2) / weight
    alone = unweighted(mean, weight**-0.5, prior, prior_u)
    if own_u > 900 * prior_u:  # next to nothing is left of what the readings said
        return
    assert alone is not None
    assert alone[0] == pytest.approx(own, abs=1e-6 * max(1.0, (own_u / prior_u) ** 2))
    assert alone[1] == pytest.approx(own_u, rel=1e-6 * max(1.0, (own_u / prior_u) ** 2))


def test_where_only_the_prior_is_there_is_nothing_to_see() -> None:
    assert unweighted(0.3, 1.0, 0.3, 1.0) is None


def freed(instrument: Instrument) -> Instrument:
    """The record with nothing known of its zeros."""
    wide = {
        quantity: record.model_copy(update={"u_zero": FREE * record.u_zero})
        for quantity, record in instrument.quantities.items()
    }
    return instrument.model_copy(update={"quantities": wide})


def by_quantity(seen: tuple[InstrumentSeen, ...]) -> dict[Quantity, InstrumentSeen]:
    return {one.quantity: one for one in seen}


@pytest.mark.parametrize("layout", ["semitrailer-2axle", "tractor-4x2"])
def test_what_is_seen_is_the_solution_without_the_record(make_bay: Callable[..., Any], layout: str) -> None:
    bay = make_bay(layout=layout)
    bay.finish()
    fold = bay.fold
    seen = by_quantity(instruments_seen(fold))
    assert set(seen) == {Quantity.LENGTH, Quantity.INCLINATION}
    free = Solver(fold.layout, None, freed(fold.instruments["meter"]), freed(fold.instruments["inclinometer"]))
    solution = free.solve(observed(fold, 1), [])
    for quantity, role, sign in ((Quantity.LENGTH, "meter", 1.0), (Quantity.INCLINATION, "inclinometer", -1.0)):
        estimate = solution.parameter(f"{fold.instruments[role].name}.{quantity.value}.zero")
        assert estimate is not None
        # the two differ by how far the network bends between the two zeros
        assert seen[quantity].zero == pytest.approx(sign * estimate[0], abs=0.01 * estimate[1])
        assert seen[quantity].u == pytest.approx(estimate[1], rel=1e-3)
        assert seen[quantity].u > 0.0


def test_the_record_has_no_say(make_bay: Callable[..., Any]) -> None:
    """Two records of one meter, a millimetre apart: the readings see the same zero."""
    bay = make_bay(layout="semitrailer-2axle")
    bay.finish()
    fold = bay.fold
    before = by_quantity(instruments_seen(fold))[Quantity.LENGTH]
    meter = fold.instruments["meter"]
    record = meter.quantities[Quantity.LENGTH]
    other = record.model_copy(update={"zero": record.zero + 0.001, "u_zero": 3.0 * record.u_zero})
    fold.instruments["meter"] = meter.model_copy(update={"quantities": {Quantity.LENGTH: other}})
    after = by_quantity(instruments_seen(fold))[Quantity.LENGTH]
    assert after.zero == pytest.approx(before.zero, abs=0.01 * before.u)
    assert after.u == pytest.approx(before.u, rel=1e-3)


def test_it_counts_the_accepted_readings_of_each_round(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-1axle")
    bay.finish()
    accepted = [place for place in bay.fold.board.places.values() if place.state == "accepted"]
    assert sum(one.readings for one in instruments_seen(bay.fold)) == len(accepted)
    bay.act("round")
    assert {one.round for one in instruments_seen(bay.fold)} == {1}
    bay.finish()
    assert {one.round for one in instruments_seen(bay.fold)} == {1, 2}


def test_a_round_that_contradicts_itself_is_left_out(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-2axle")
    bay.finish()
    bay.act("retake", shot="T1Rh>K")
    for _ in range(2):
        bay.shoot(off_m=0.06)
        bay.act("accept", reading=max(bay.fold.readings))
    solution = bay.fold.solution()
    assert solution is not None
    assert solution.contradicts
    assert instruments_seen(bay.fold) == ()


def test_a_statement_records_it_in_display_units(make_bay: Callable[..., Any]) -> None:
    bay = make_bay(layout="semitrailer-1axle")
    bay.finish()
    expected = [seen_body(one) for one in instruments_seen(bay.fold)]
    bay.run.close_job()
    stated = bay.fold.statements[-1][1]["instruments_seen"]
    assert stated == expected
    meter = next(one for one in stated if one["quantity"] == "length")
    assert meter["unit"] == "mm"
    assert meter["u"] == pytest.approx(1000 * by_quantity(instruments_seen(bay.fold))[Quantity.LENGTH].u)
    tilt = next(one for one in stated if one["quantity"] == "inclination")
    assert tilt["u"] == pytest.approx(math.degrees(by_quantity(instruments_seen(bay.fold))[Quantity.INCLINATION].u))
