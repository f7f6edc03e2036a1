from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from axledger.job.setting_words import learned_of, proof_words, settings_words
from axledger.job.settings import MountKind
from axledger.job.target_history import enrol_target, enrolment_of
from axledger_simulators.planting import PlantedFaults

Make = Callable[..., Any]


def test_a_job_with_every_target_turned_rests_on_none_unproved(make_bay: Make, short_layout: Any) -> None:
    bay = make_bay(layout="semitrailer-1axle", faults=PlantedFaults(settings=0.0, unevenness=0))
    assert settings_words(bay.fold) == ()  # nothing read yet
    bay.finish()
    assert settings_words(bay.fold) == ()
    # axle 2 of this trailer is never turned
    half = make_bay(layout=short_layout, faults=PlantedFaults(settings=0.0, unevenness=0))
    half.finish()
    (line,) = [words for words in settings_words(half.fold) if "unproved" in words]
    assert line == "rests on an unproved setting: hub targets neither turned in this job nor enrolled"


def test_bad_settings_are_said_with_their_factor(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-2axle", seed=8, faults=PlantedFaults(settings=4.0, unevenness=0))
    for _ in range(200):
        if bay.fold.current() is None:
            break
        bay.shoot()
        for number, place in sorted(bay.fold.board.places.items()):
            if place.state == "held":
                bay.act("accept", reading=number)
    learned = learned_of(bay.fold)
    assert learned is not None
    worst = max(learned.kinds, key=lambda kind: learned.kinds[kind].factor)
    name = {MountKind.HUB: "hub targets", MountKind.INBOARD: "inboard targets"}[worst]
    words = settings_words(bay.fold)
    assert f"settings of {name} taken as {learned.kinds[worst].factor:.1f} times stated" in words
    assert learned_of(bay.fold) is learned  # worked out once per board


def test_a_target_that_no_longer_fits_its_history_is_named(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-1axle")
    assert bay.fold.in_force.targets == {}
    for mark in ("hub-1L", "hub-1R"):
        pairs = [(3000.0 - 3.0, 3000.0 + 3.0)] * 5
        enrol_target(bay.ledger, enrolment_of(mark, MountKind.HUB, pairs), person="Ada", stamp=bay.clock.now())
    from axledger.job.opening import Enrolled, fold_job, open_job
    from axledger_drivers.registry import decoder_for

    roles = {role: Enrolled(number, bay.fold.instruments[role]) for role, number in bay.fold.header.instruments.items()}
    again = fold_job(
        bay.ledger, open_job(bay.ledger, bay.layout, None, roles, stamp=bay.clock.now(), person="Ada"), decoder_for
    )
    assert again.in_force.targets["T1Lh"].bias_mm == pytest.approx(3.0)
    # the same readings in the light of that history: the targets are not bent by 3 mm
    bay.finish()
    solution = bay.fold.solution()
    assert again.work is not None
    gated = again.work.solver.solve(solution.observations, [])
    assert not gated.gate.fits
    from axledger.job.learning import learned_from

    learned = learned_from(gated, again.in_force, {"T1Lh": "L", "T1Rh": "R"})
    assert {target.alarm for target in learned.targets.values()} == {True}


def test_the_weakest_setting_is_named_with_its_cheapest_proof(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-2axle")
    bay.finish()
    results = {result.key: result for result in bay.fold.solution().results}
    offset = results["trailer.axle1.offset"]
    words = proof_words(offset)
    assert words.startswith(f"{offset.shares['inboard']:.0%} of the variance comes from inboard targets")
    assert words.endswith("hang them again, turned, and shoot their lines again")
    proofs = {
        "hub.bias": "half a turn", "hub.seating": "a second time", "hub.across": "a second time",
        "straightedge.end": "end for end", "rail.across": "another pair of rail targets",
    }  # fmt: skip
    for part, proof in proofs.items():
        assert proof in proof_words(replace(offset, weakest=part))
    assert proof_words(replace(offset, weakest="")) == ""
    # exchanging left and right the same side up proves nothing and is never offered
    assert not any(
        "exchange" in proof_words(replace(offset, weakest=f"hub.{part}")) for part in ("bias", "seating", "rest")
    )


def test_targets_seen_in_both_states_were_turned_however_little_one_line_tells_of_each(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-1axle", repeats=1, seed=3)
    bay.level()
    while bay.fold.current() is not None:
        bay.shoot()
    assert not [words for words in settings_words(bay.fold) if "unproved" in words]
