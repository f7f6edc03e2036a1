"""Slips planted in real jobs: found, named, cured by the step that is offered; and clean jobs left alone.

Sizes and vehicles are invented; what may be expected of them was simulated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from axledger.job.findings import FALSE_ALARM, MIRROR, Findings, findings_of, name_is_of_layout, smallest_visible
from axledger.job.plan import plan_shots
from axledger_simulators.beam import trace

Make = Callable[..., Any]
Read = Callable[[Any, Any], float]


def walk(
    bay: Any, instead: Mapping[str, Read] | None = None, before: Mapping[str, Callable[[], None]] | None = None
) -> None:
    """Work the plan through; ``instead`` gives what a shot reads, held readings are stood by."""
    while (shot := bay.fold.current()) is not None:
        (before or {}).get(shot.id, lambda: None)()
        if shot.id in (instead or {}):
            for target in shot.turn:
                bay.vehicle.turn(target)
            bay.length((instead or {})[shot.id](bay, shot))
        else:
            bay.shoot()
        if bay.states()[-1] == "held":
            bay.act("accept", reason="sure of it")


def of(start: str, end: str) -> Read:
    return lambda bay, _shot: trace(bay.vehicle, start, end).distance_m


def off(metres: float, factor: float = 1.0) -> Read:
    return lambda bay, shot: bay.truth_m(shot) * factor + metres


@pytest.fixture
def trailer(make_bay: Make) -> Any:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=3)
    bay.level()
    return bay


def only(findings: Findings) -> Any:
    (finding,) = findings.findings
    return finding


def test_a_clean_job_has_no_findings_and_says_what_it_would_have_seen(trailer: Any) -> None:
    walk(trailer)
    found = findings_of(trailer.fold)
    assert found.findings == ()
    assert found.false_alarm == FALSE_ALARM == 0.01
    assert found.global_test.passed
    assert MIRROR in found.cannot_see
    shots = [shot.id for shot in trailer.fold.shots()]
    assert list(found.smallest_visible) == shots
    # three to twenty millimetres: what the walking plans of a study of our own show
    assert all(0.002 < found.smallest_visible[name] < 0.030 for name in shots if ":" not in name)
    trailer.same_as_refolded()


def test_before_anything_was_read_nothing_is_found(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1)
    found = findings_of(bay.fold)
    assert (found.findings, dict(found.smallest_visible)) == ((), {})


def test_findings_are_worked_out_once_a_board_and_change_no_result(trailer: Any) -> None:
    walk(trailer, {"K>T1Li": off(0.012)})
    before = trailer.fold.solution()
    found = findings_of(trailer.fold)
    assert findings_of(trailer.fold) is found
    assert trailer.fold.solution() is before
    assert findings_of(trailer.refolded()) == found
    trailer.act("note", words="looked at it")
    assert findings_of(trailer.fold) is not found


@pytest.mark.parametrize(
    ("name", "read", "slip", "words"),
    [
        ("K>T1Lh", off(0.8), "past target", "the beam went past the target"),
        ("T1Li>T2Ri", off(-0.6), "in the beam", "something stood in the beam"),
        ("K>T1Rh", off(0.0, 1 / 0.3048), "unit", "read in feet, not metres"),
        ("K>T1Li", of("K", "T2Li"), "neighbour", "aimed at T2Li instead of T1Li"),
        ("T1Rh>T2Rh", off(-0.120), "edge", "mm too short, measured from the wrong edge of the meter"),
        ("K>T1Li", off(0.0124), "misread", "mm too long: misread, or not aimed at the mark"),
        ("K>T2Li", lambda bay, shot: round(bay.truth_m(shot), 3) + 0.030, "misread", "misread by a digit"),
    ],
)
def test_a_slip_in_one_shot_is_named_and_its_cure_ends_it(
    trailer: Any, name: str, read: Read, slip: str, words: str
) -> None:
    walk(trailer, {name: read})
    finding = only(findings_of(trailer.fold))
    assert (finding.slip, finding.shots) == (slip, (name,))
    assert words in finding.words
    assert finding.cure.act == "retake"
    assert name in finding.cure.words
    trailer.act(finding.cure.act, **finding.cure.arguments)
    walk(trailer)
    assert findings_of(trailer.fold).findings == ()
    trailer.same_as_refolded()


def test_an_exchanged_pair_is_named_and_swapped_back(make_bay: Make) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=11)
    bay.level()
    left, right = (trace(bay.vehicle, "K", end).distance_m for end in ("T1Li", "T1Ri"))
    assert abs(left - right) > 0.004  # a smaller difference is harmless and may go unseen
    walk(bay, {"K>T1Li": of("K", "T1Ri"), "K>T1Ri": of("K", "T1Li")})
    finding = only(findings_of(bay.fold))
    assert (finding.slip, set(finding.shots)) == ("swap", {"K>T1Li", "K>T1Ri"})
    assert "left and right swapped" in finding.words
    assert finding.cure.act == "swap"
    bay.act(finding.cure.act, **finding.cure.arguments)
    assert findings_of(bay.fold).findings == ()
    bay.same_as_refolded()


def test_a_wrong_edge_from_some_shot_on_is_named_to_the_very_shot(trailer: Any) -> None:
    names = [shot.id for shot in trailer.fold.shots() if shot.kind == "distance"]
    late = names[9:]
    walk(trailer, {name: off(0.095) for name in late})
    finding = findings_of(trailer.fold).findings[0]
    assert (finding.slip, finding.shots) == ("edge", tuple(late))
    assert finding.size_si == pytest.approx(0.095, abs=0.002)
    assert f"{late[0]} to {late[-1]} ({len(late)} shots): all 9" in finding.words


def test_a_target_that_moved_is_named_with_what_cannot_be_told_from_it(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2", repeats=1, seed=4)
    bay.level()
    walk(bay, before={"S1Rr>D1Rh": lambda: bay.vehicle.hung("F2L").knock(0.0, 0.015)})
    finding = findings_of(bay.fold).findings[0]
    named = (finding, *finding.rivals)
    assert any(one.slip == "target moved" and "F2L" in one.words for one in named)
    assert all(one.words in finding.told for one in named)
    assert ", or " in finding.told or not finding.rivals


def test_two_slips_are_found_one_after_the_other(trailer: Any) -> None:
    walk(trailer, {"K>T1Li": off(0.4), "T1Rh>K": off(-0.15)})
    found = findings_of(trailer.fold).findings
    assert {finding.shots[0] for finding in found} == {"K>T1Li", "T1Rh>K"}


def test_a_wrong_reading_makes_nothing_conform_by_being_named(make_bay: Make, fleet_limits: Any) -> None:
    bay = make_bay(layout="semitrailer-2axle", repeats=1, seed=3, limits=fleet_limits)
    bay.level()
    walk(bay, {"T1Lh>T2Lh": off(0.006)})
    before = {result.key: result.verdict for result in bay.fold.solution().results}
    findings_of(bay.fold)
    assert {result.key: result.verdict for result in bay.fold.solution().results} == before


def test_the_smallest_visible_slip_is_known_before_the_job(trailer: Any) -> None:
    shots = trailer.fold.shots()
    forecast = smallest_visible(trailer.fold.fresh_solver(), shots, 1)
    walk(trailer)
    seen = findings_of(trailer.fold).smallest_visible
    for shot in shots:
        if math.isfinite(forecast[shot.id]):
            assert seen[shot.id] == pytest.approx(forecast[shot.id], rel=0.1)
        else:
            assert seen[shot.id] > 0.05
    twice = smallest_visible(trailer.fold.fresh_solver(), shots, 2)
    assert all(twice[name] < forecast[name] for name in forecast if ":" not in name)


def test_a_short_plan_sees_less(trailer: Any) -> None:
    shots = [shot for shot in plan_shots(trailer.layout) if shot.start == "K"]
    alone = smallest_visible(trailer.fold.fresh_solver(), shots, 2)
    whole = smallest_visible(trailer.fold.fresh_solver(), trailer.fold.shots(), 2)
    ratios = {shot.id: alone[shot.id] / whole[shot.id] for shot in shots}
    assert min(ratios.values()) > 1.05, ratios


def test_what_is_thought_of_a_wheel_before_it_is_read_has_no_part_in_the_test_as_a_whole(make_bay: Make) -> None:
    bay = make_bay(layout="tractor-4x2", parts=frozenset({"camber", "sweep"}))
    settings = {name.split(".", 1)[1] for name in bay.fold.solution().model.names if not name_is_of_layout(name)}
    assert {"S1.face.L.seating", "S1.plate.L.zero", "S1L.bias"} <= settings
    weak = ("camber", "caster", "kpi", "turned-", "run-out", "level.", "pitch", "steer", "yaw")
    assert [name for name in settings for part in weak if f".{part}" in f".{name}"] == []
