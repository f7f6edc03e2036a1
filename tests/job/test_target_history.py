from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares

from axledger.contract.errors import BadInput
from axledger.job.in_force import InForce, Known, marks_of
from axledger.job.learning import KindLearned, Learned, TargetLearned
from axledger.job.library import load_layout
from axledger.job.settings import MountKind
from axledger.job.target_history import (
    DRIFT_MM,
    Enrolment,
    History,
    enrol_target,
    enrolment_of,
    history_in,
    learned_body,
    targets_in,
)
from axledger.ledger import Ledger
from axledger_calibration.cusum import Sums
from axledger_simulators.clock import VirtualClock

PAIRS = [(3412.3, 3413.1), (3412.0, 3412.9), (3412.6, 3413.0), (3412.2, 3413.2), (3412.4, 3412.8)]
LAYOUT = load_layout("semitrailer-2axle")
MARKS = marks_of(LAYOUT)
CLOCK = VirtualClock()


def enrolment(mark: str = "hub-1L", **asked: Any) -> Enrolment:
    return enrolment_of(mark, MountKind.HUB, PAIRS, **asked)


def test_bias_and_scatter_are_those_of_a_straight_line_through_both_states() -> None:
    """Oracle: scipy's least squares with two unknowns, the distance and the bias."""
    before, after = np.array(PAIRS).T
    fit = least_squares(lambda p: np.concatenate((p[0] - p[1] - before, p[0] + p[1] - after)), [3412.0, 0.0])
    one = enrolment(look_sd_mm=0.1)
    assert one.bias_mm == pytest.approx(fit.x[1], abs=1e-6)
    # by hand: mean of the halves 0.40, 0.45, 0.20, 0.50, 0.20
    assert one.bias_mm == pytest.approx(0.35)
    variance = 2 * fit.cost / 8
    assert one.scatter_mm == pytest.approx(math.sqrt(variance), rel=1e-6)
    assert one.seat_sd_mm == pytest.approx(math.sqrt(variance - 0.01), rel=1e-6)
    assert one.u_mm == pytest.approx(math.sqrt(variance / 10 * 8 / 6), rel=1e-6)
    assert (one.side, one.freedom) == ("L", 8)


def test_readings_that_happen_to_agree_are_not_believed_beyond_the_meter() -> None:
    one = enrolment_of("hub-1R", MountKind.HUB, [(1000.0, 1000.6)] * 5)
    assert one.u_mm == pytest.approx(0.31 / math.sqrt(10) * math.sqrt(8 / 6), rel=1e-9)
    assert one.seat_sd_mm == 0.0


def test_five_pairs_know_a_bias_to_about_an_eighth_of_a_millimetre() -> None:
    rng, found = np.random.default_rng(3), []
    for _ in range(400):
        looks = 3000.0 + np.array([-0.4, 0.4]) + rng.normal(size=(5, 2)) * math.hypot(0.2, 0.31)
        found.append(enrolment_of("hub-1L", MountKind.HUB, [(a, b) for a, b in looks.tolist()]))
    assert np.std([one.bias_mm for one in found]) == pytest.approx(0.12, abs=0.02)
    errors = np.array([(one.bias_mm - 0.4) / one.u_mm for one in found])
    assert 0.55 < np.mean(errors**2) < 1.05  # never less than the readings', so a little on the safe side


@pytest.mark.parametrize(
    ("mark", "kind", "pairs", "words"),
    [
        ("", MountKind.HUB, PAIRS, "needs a mark"),
        ("pin", MountKind.PIN, PAIRS, "pin is no kind of target"),
        ("hub-1", MountKind.HUB, PAIRS, "which side hub-1 hangs on"),
        ("hub-1L", MountKind.HUB, PAIRS[:2], "so few pairs"),
        ("hub-1L", MountKind.HUB, [*PAIRS, (3412.0, 34.12)], "pair 6 differs too much"),
        ("hub-1L", MountKind.HUB, [*PAIRS, (-1.0, 3.0)], "pair 6 is no pair"),
        ("hub-1L", MountKind.HUB, [*PAIRS, (math.nan, 3.0)], "pair 6 is no pair"),
    ],
)
def test_what_cannot_be_is_refused(mark: str, kind: MountKind, pairs: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        enrolment_of(mark, kind, pairs)


def test_an_enrolment_is_an_entry_and_the_newest_counts(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        assert enrol_target(ledger, enrolment(), person="Ada", stamp=CLOCK.now()) == 1
        again = enrolment_of("hub-1L", MountKind.HUB, [(1000.0, 1000.2)] * 3)
        enrol_target(ledger, again, person="Ben", stamp=CLOCK.now())
        assert targets_in(ledger) == {"hub-1L": again}
        (first, _) = ledger.entries(kinds={"target"})
        assert (first.body["person"], first.body["target"], first.body["mark"]) == ("Ada", "hub", "hub-1L")


def in_force(history: History, person: str = "Ada") -> InForce:
    return history.in_force(LAYOUT, MARKS, person)


def test_nothing_known_is_nothing_in_force() -> None:
    assert in_force(History()) == InForce(marks=MARKS)


def test_an_enrolled_target_is_known_with_a_little_drift() -> None:
    history = History()
    history.enrolled(enrolment(), "Ada")
    known = in_force(history).targets["T1Lh"]
    assert known.bias_mm == pytest.approx(0.35)
    assert known.u_mm == pytest.approx(math.hypot(enrolment().u_mm, DRIFT_MM))
    assert known.count == 5
    elsewhere = history.in_force(LAYOUT, {**MARKS, "T1Lh": "hub-9L", "T2Rh": "hub-1L"}, "Ada").targets
    assert elsewhere["T2Rh"].bias_mm == pytest.approx(-0.35)  # on the other side it counts the other way
    assert "T1Lh" not in elsewhere
    assert history.in_force(LAYOUT, {**MARKS, "T1Lh": "hub-9L", "T1Li": "hub-1L"}, "Ada").targets == {}  # another kind


def test_what_an_enrolment_says_of_the_kind_is_the_likelihood_of_its_bias_and_its_scatter() -> None:
    """Long way for the hub's levels: a bias of sd 0.40 L, looks of variance (0.20 L)^2 + 0.31^2 with 8 freedoms."""
    history = History()
    history.enrolled(enrolment(), "Ada")
    levels = np.array([0.7, 1.0, 1.4, 2.0, 2.9, 4.0])
    prior = np.array([0.08, 0.26, 0.26, 0.22, 0.12, 0.06])
    bias = (0.4 * levels) ** 2 + enrolment().u_mm ** 2
    look = (0.2 * levels) ** 2 + 0.31**2
    likely = (
        bias**-0.5 * np.exp(-(0.35**2) / (2 * bias)) * look**-4 * np.exp(-8 * enrolment().scatter_mm ** 2 / (2 * look))
    )
    expected = prior * likely / (prior * likely).sum()
    assert in_force(history).weights[MountKind.HUB] == pytest.approx(tuple(expected.tolist()), rel=1e-6)
    # another crew has its own way of seating, but the targets are the same
    likely = bias**-0.5 * np.exp(-(0.35**2) / (2 * bias))
    expected = prior * likely / (prior * likely).sum()
    assert in_force(history, "Ben").weights[MountKind.HUB] == pytest.approx(tuple(expected.tolist()), rel=1e-6)
    assert in_force(history).freedom[MountKind.HUB] > in_force(history, "Ben").freedom[MountKind.HUB] > 0
    assert in_force(history).targets == in_force(history, "Ben").targets


def learned(*, alarm: bool = False, known: bool = True, weights: tuple[float, ...] = (0.1, 0.2, 0.3, 0.4)) -> Learned:
    of_target = Known(bias_mm=0.5, u_mm=0.2, reference_mm=0.4, reference_u_mm=0.3, count=2, sums=Sums(1.0, 0.0))
    kind = KindLearned(
        weights=weights, carried=(0.35, 0.30, 0.22, 0.13), freedom=2.0, seen=2.0, factor=1.7, alarm=False
    )
    target = TargetLearned(
        kind=MountKind.HUB, mark="hub-1L", side="L", bias_mm=0.5, u_mm=0.2, half_mm=0.4, half_u_mm=0.3,
        known=of_target if known else None, alarm=alarm,
    )  # fmt: skip
    return Learned(kinds={MountKind.INBOARD: kind}, targets={"T1Lh": target})


def as_stated(what: Learned) -> dict[str, Any]:
    body: dict[str, Any] = json.loads(json.dumps(learned_body(what)))
    return body


def test_a_statement_carries_weights_and_biases_to_the_next_job_of_the_crew() -> None:
    history = History()
    history.stated(as_stated(learned()), "Ada")
    ada, ben = in_force(history), in_force(history, "Ben")
    assert ada.weights[MountKind.INBOARD] == pytest.approx((0.1, 0.2, 0.3, 0.4), rel=1e-6)
    assert ada.freedom == {MountKind.INBOARD: 2.0}
    assert ben.weights == {}
    assert ada.targets == ben.targets
    known = ada.targets["T1Lh"]
    assert (known.bias_mm, known.reference_mm, known.count, known.sums) == (0.5, 0.4, 2, Sums(1.0, 0.0))


def test_two_jobs_from_the_same_start_add_their_evidence() -> None:
    history = History()
    history.stated(as_stated(learned()), "Ada")
    history.stated(as_stated(learned()), "Ada")
    # by hand: prior * (post / prior)^2, normalised
    ratio = np.array([0.1, 0.2, 0.3, 0.4]) ** 2 / np.array([0.35, 0.30, 0.22, 0.13])
    expected = (ratio / ratio.sum()).tolist()
    assert in_force(history).weights[MountKind.INBOARD] == pytest.approx(tuple(expected), rel=1e-6)


def test_after_an_alarm_a_target_starts_anew_until_it_is_enrolled_again() -> None:
    history = History()
    history.enrolled(enrolment(), "Ada")
    history.stated(as_stated(learned(alarm=True, known=False)), "Ada")
    assert in_force(history).targets == {}
    history.enrolled(enrolment(), "Ada")
    assert "T1Lh" in in_force(history).targets


def test_a_job_that_learned_nothing_of_a_target_leaves_what_was_known() -> None:
    history = History()
    history.enrolled(enrolment(), "Ada")
    before = in_force(history).targets
    history.stated(as_stated(learned(known=False)), "Ada")
    assert in_force(history).targets == before


def test_the_ledger_is_added_up_in_its_order(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        enrol_target(ledger, enrolment(), person="Ada", stamp=CLOCK.now())
        ledger.append([
            {"kind": "job", "job": "old", "person": "Cay"},
            {"kind": "statement", "job": "old", "person": "Cay"},  # of a version that stated nothing of settings
            {"kind": "job", "job": "one", "person": "Ada"},
            {"kind": "statement", "job": "one", "person": "Ben", "settings": as_stated(learned())},
        ])  # fmt: skip
        history = history_in(ledger.entries())
    assert in_force(history).targets["T1Lh"].bias_mm == 0.5  # the statement is newer than the enrolment
    assert MountKind.INBOARD in in_force(history).weights  # the crew is who opened the job
    assert MountKind.INBOARD not in in_force(history, "Ben").weights
