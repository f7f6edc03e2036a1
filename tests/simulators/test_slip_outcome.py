from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from axledger.geometry.conformity import Verdict
from axledger.job.findings import Cure, Finding, Findings, findings_of
from axledger.job.fold import JobFold
from axledger.ledger import Ledger
from axledger_simulators.blunders import Blunder, Move, Planted
from axledger_simulators.campaign_draws import CampaignPlan, draw_rows
from axledger_simulators.campaign_walk import Bay
from axledger_simulators.slip_outcome import falsely_conforming, judge_slip, rightly_named
from axledger_simulators.slips import Slip, SlipKind

_SHOT, _OTHER = "T1Lh>K", "T1Rh>K"
_CURE = Cure(act="retake", arguments={"shot": _SHOT}, words=f"shoot {_SHOT} again")


def _finding(slip: str, *shots: str, rivals: tuple[Finding, ...] = ()) -> Finding:
    return Finding(slip=slip, shots=shots, words=slip, cure=_CURE, drop=50.0, size_si=0.1, rivals=rivals)


def _planted(blunder: Blunder, *shots: str, names: str, move: Move | None = None) -> Planted:
    instead = {shot: Slip(kind=SlipKind.MISREAD, end="K", add_m=0.05) for shot in shots} if move is None else {}
    return Planted(blunder=blunder, shots=shots, names=frozenset({names}), instead=instead, move=move)


@pytest.fixture(scope="module")
def fold(tmp_path_factory: pytest.TempPathFactory) -> JobFold:
    """A finished clean job."""
    plan = CampaignPlan(seed=2, layouts=("semitrailer-1axle",), meter_mm=0.7, repeats=2, procedure="default")
    ((draw,),) = draw_rows(plan, 1)
    folder: Path = tmp_path_factory.mktemp("ledger")
    with Ledger.open(folder) as ledger:
        walk, _ = Bay(ledger, draw).opened(draw)
        walk.whole()
        return walk.run.fold


def test_kind_and_shot_must_both_be_right(fold: JobFold) -> None:
    planted = _planted(Blunder.MISREAD_LARGE, _SHOT, names="misread")
    assert rightly_named(_finding("misread", _SHOT), planted, fold)
    assert not rightly_named(_finding("misread", _OTHER), planted, fold)
    assert not rightly_named(_finding("edge", _SHOT), planted, fold)
    assert rightly_named(_finding("edge", _SHOT, rivals=(_finding("misread", _SHOT),)), planted, fold)


def test_a_moved_target_is_named_by_shots_that_all_touch_it(fold: JobFold) -> None:
    move = Move(before=_SHOT, unit="trailer", target="T1Lh", along_m=0.01)
    planted = _planted(Blunder.TARGET_MOVED, _SHOT, names="target moved", move=move)
    assert rightly_named(_finding("target moved", "K>T1Lh", _SHOT), planted, fold)
    assert not rightly_named(_finding("target moved", _SHOT, _OTHER), planted, fold)


def test_an_exchanged_pair_is_named_in_either_order(fold: JobFold) -> None:
    planted = _planted(Blunder.SWAP_PAIR, _SHOT, _OTHER, names="swap")
    assert rightly_named(_finding("swap", _OTHER, _SHOT), planted, fold)
    assert not rightly_named(_finding("swap", _OTHER, "K>T1Lh"), planted, fold)


def _judged(fold: JobFold, findings: Findings, error_m: float) -> dict[str, bool]:
    planted = _planted(Blunder.MISREAD_LARGE, _SHOT, names="misread")
    errors = dict.fromkeys(fold.board.accepted(_SHOT), error_m)
    outcome = judge_slip(planted, fold, findings, errors, {_SHOT: (_finding("misread", _SHOT),)})
    assert outcome.size_m == pytest.approx(error_m)
    names = ("detectable", "found", "named", "in_pair", "harmless", "held", "named_at_once")
    return {name: getattr(outcome, name) for name in names}


def test_found_named_and_detectable(fold: JobFold) -> None:
    clean = findings_of(fold)
    assert clean.findings == ()
    found = replace(clean, findings=(_finding("misread", _SHOT),))
    assert _judged(fold, found, 0.05) == {
        "detectable": True, "found": True, "named": True, "in_pair": False, "harmless": False, "held": True,
        "named_at_once": True,
    }  # fmt: skip
    rival = replace(clean, findings=(_finding("edge", _SHOT, rivals=(_finding("misread", _SHOT),)),))
    assert _judged(fold, rival, 0.05)["in_pair"]


def test_what_is_not_found_is_harmless_only_while_no_result_is_beyond_its_u(fold: JobFold) -> None:
    # what the slip did is taken out of the readings again, so a stated error of 50 mm changes the result by far more
    # than its U, and one of 0.02 mm by less
    missed = _judged(fold, findings_of(fold), 0.05)
    assert (missed["found"], missed["harmless"]) == (False, False)
    tiny = _judged(fold, findings_of(fold), 0.00002)
    assert (tiny["found"], tiny["harmless"], tiny["detectable"]) == (False, True, False)


def test_a_result_that_conforms_against_the_truth_is_counted(fold: JobFold) -> None:
    (result,) = (fold.fresh_solution(1) or fold.solution()).results  # type: ignore[union-attr]
    assert result.upper is not None
    conforms = result.verdict is Verdict.CONFORMS
    assert falsely_conforming(fold, {result.key: result.upper + 0.001}) == int(conforms)
    assert falsely_conforming(fold, {result.key: result.upper - 1e-6}) == 0
