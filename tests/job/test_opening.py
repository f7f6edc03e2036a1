from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from axledger.contract.errors import BadInput, Refused, UnknownName
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.opening import Enrolled, enrol, fold_job, instruments_in, job_names, latest_job, open_job
from axledger.job.plan import Chosen
from axledger.job.settings import MountKind
from axledger.job.target_history import enrol_target, enrolment_of
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.clock import VirtualClock
from axledger_simulators.kit import inclinometer_record, meter_record

CLOCK = VirtualClock()


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.open(tmp_path) as opened:
        yield opened


@pytest.fixture
def roles(ledger: Ledger) -> dict[str, Enrolled]:
    records = {"meter": meter_record("meter-a", "test:1"), "inclinometer": inclinometer_record("tilt-b", "test:2")}
    return {role: enrol(ledger, one, person="Ada", stamp=CLOCK.now()) for role, one in records.items()}


def opened(ledger: Ledger, roles: dict[str, Enrolled], **asked: Any) -> str:
    return open_job(ledger, load_layout("semitrailer-1axle"), None, roles, stamp=CLOCK.now(), person="Ada", **asked)


def test_a_job_rests_on_its_records(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    sheet = load_limit_sheet("example-fleet")
    layout = load_layout("tractor-4x2-semitrailer-3axle")
    job = open_job(
        ledger, layout, sheet, roles, stamp=CLOCK.now(), person="Ada", vehicle={"unit number": "12"}, repeats=3
    )
    fold = fold_job(ledger, job, decoder_for)
    assert fold.header is not None
    assert (fold.header.repeats, fold.header.vehicle, fold.header.person) == (3, {"unit number": "12"}, "Ada")
    assert (fold.layout, fold.limits) == (layout, sheet)
    assert fold.instruments == {role: enrolled.instrument for role, enrolled in roles.items()}


def test_an_instrument_enrolled_again_later_leaves_the_job_as_it_was(
    ledger: Ledger, roles: dict[str, Enrolled]
) -> None:
    job = opened(ledger, roles)
    again = roles["meter"].instrument.model_copy(update={"serial": "changed", "state": "quarantined"})
    enrol(ledger, again, person="Ada", stamp=CLOCK.now())
    assert fold_job(ledger, job, decoder_for).instruments["meter"].serial == "simulated"
    assert instruments_in(ledger)["meter-a"].instrument == again


def test_names_are_given_by_day_and_never_twice(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    # the virtual clock stands at 2026-01-05
    assert [opened(ledger, roles), opened(ledger, roles), opened(ledger, roles, name="yard-7")] == [
        "20260105-1", "20260105-2", "yard-7",
    ]  # fmt: skip
    assert job_names(ledger) == ("20260105-1", "20260105-2", "yard-7")
    assert latest_job(ledger) == "yard-7"
    with pytest.raises(Refused, match="exists"):
        opened(ledger, roles, name="yard-7")


def test_what_is_missing_or_unfit_is_said_before_anything_is_written(
    ledger: Ledger, roles: dict[str, Enrolled]
) -> None:
    size = ledger.head().size
    resting = Enrolled(1, roles["meter"].instrument.model_copy(update={"state": "quarantined"}))
    cases: list[tuple[dict[str, Enrolled], type[Exception], str]] = [
        ({"meter": roles["meter"]}, BadInput, "has no inclinometer"),
        ({}, BadInput, "has no meter"),
        ({"meter": roles["inclinometer"], "inclinometer": roles["inclinometer"]}, BadInput, "cannot be the meter"),
        ({**roles, "meter": resting}, Refused, "is quarantined"),
    ]
    for chosen, error, words in cases:
        with pytest.raises(error, match=words):
            opened(ledger, chosen)
    for repeats in (0, 6):
        with pytest.raises(BadInput, match="repeats"):
            opened(ledger, roles, repeats=repeats)
    assert ledger.head().size == size


def test_no_job_is_said_with_the_names_there_are(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    with pytest.raises(UnknownName):
        latest_job(ledger)
    opened(ledger, roles)
    with pytest.raises(UnknownName) as caught:
        fold_job(ledger, "nobody", decoder_for)
    assert "20260105-1" in caught.value.allowed


def test_what_was_chosen_of_the_walk_stands_in_the_opening(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    job = opened(ledger, roles, chosen=Chosen(turns=False))
    fold = fold_job(ledger, job, decoder_for)
    assert fold.chosen == Chosen(turns=False)
    assert not any(shot.turn for shot in fold.shots())
    assert fold_job(ledger, opened(ledger, roles), decoder_for).chosen == Chosen()


def test_a_part_that_the_layout_does_not_have_is_refused(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    with pytest.raises(BadInput, match="semitrailer-1axle has no part sweep"):
        opened(ledger, roles, chosen=Chosen(parts=frozenset({"sweep"})))
    assert not job_names(ledger)


def test_a_sweep_needs_turning_plates(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    tractor, sweep = load_layout("tractor-4x2"), Chosen(parts=frozenset({"sweep"}))
    stamp = VirtualClock().now()
    with pytest.raises(BadInput, match="has no plate"):
        open_job(ledger, tractor, None, roles, stamp=stamp, person="Ada", chosen=sweep)
    with_plates = {**roles, "plate": roles["inclinometer"]}
    job = open_job(ledger, tractor, None, with_plates, stamp=stamp, person="Ada", chosen=sweep)
    assert any(shot.tilt == "plate-out" for shot in fold_job(ledger, job, decoder_for).shots())


def test_every_target_has_a_mark_that_may_be_named(ledger: Ledger, roles: dict[str, Enrolled]) -> None:
    fold = fold_job(ledger, opened(ledger, roles, marks={"T1Lh": "hub-7L"}), decoder_for)
    assert fold.in_force.marks == {"T1Lh": "hub-7L", "T1Rh": "hub-1R"}
    with pytest.raises(UnknownName):
        opened(ledger, roles, marks={"T9Lh": "hub-7L"})
    with pytest.raises(BadInput, match="hub-1R cannot hang at two places"):
        opened(ledger, roles, marks={"T1Lh": "hub-1R"})


def test_what_is_known_of_targets_stands_in_the_opening_and_later_entries_do_not_change_it(
    ledger: Ledger, roles: dict[str, Enrolled]
) -> None:
    before = opened(ledger, roles)
    pairs = [(3000.0, 3000.8), (3000.2, 3001.0), (3000.1, 3000.7)]
    enrol_target(ledger, enrolment_of("hub-1L", MountKind.HUB, pairs), person="Ada", stamp=CLOCK.now())
    after = opened(ledger, roles)
    assert fold_job(ledger, before, decoder_for).in_force.targets == {}
    known = fold_job(ledger, after, decoder_for).in_force
    assert known.targets["T1Lh"].bias_mm == pytest.approx((0.4 + 0.4 + 0.3) / 3)
    assert MountKind.HUB in known.weights
    assert fold_job(ledger, after, decoder_for).fresh_solver().in_force == known
