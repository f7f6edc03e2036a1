from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from axledger.geometry.conformity import Rule
from axledger.job.offers import Yard, open_offers, yard_of
from axledger.job.prospect import Prospect, prospect_of
from axledger.job.ranking import best_first, looks, turns_of, waiting_shots


@pytest.fixture
def half_done(make_bay: Callable[..., Any]) -> Any:
    bay = make_bay(layout="semitrailer-2axle")
    bay.level()
    for _ in range(8):
        bay.shoot()
    return bay


def seen(bay: Any, more: list[Any]) -> tuple[Prospect, Yard]:
    solution = bay.fold.solution()
    yard = yard_of(bay.fold, {one.line for one in solution.observations}, {"trailer"})
    return prospect_of(bay.fold.fresh_solver(), solution, [*yard.lines(), *more], Rule.GUARD_95), yard


def progress(prospect: Prospect, offer: Any) -> float:
    """The same by the definition: share of the missing variance that is gone, aim by aim."""
    left = prospect.left_together(offer.lines, offer.readings)
    total = 0.0
    for own, now, after in zip(prospect.aims, prospect.u.tolist(), left.tolist(), strict=True):
        if now > own.wanted:
            total += min(1.0, (now**2 - after**2) / (now**2 - own.wanted**2))
    return total


def test_rates_are_gains_by_definition_and_the_best_comes_first(half_done: Any) -> None:
    waiting = open_offers(half_done.fold, "K")
    prospect, yard = seen(half_done, [line for offer in waiting for line in offer.lines])
    rated = [*waiting_shots(prospect, waiting), *looks(prospect, yard, yard.turns)]
    for rate, gain, make in rated:
        offer = make()
        assert gain == pytest.approx(progress(prospect, offer), rel=1e-9, abs=1e-12)
        assert rate == pytest.approx(gain / offer.seconds, rel=1e-12)
    best = best_first(rated)
    rates = [progress(prospect, offer) / offer.seconds for offer in best]
    assert rates == sorted(rates, reverse=True)
    assert len(best) < len(rated)  # floor readings bring nothing here
    assert best_first(rated) == best


def test_each_target_is_offered_once_with_what_repays_its_time(make_bay: Callable[..., Any], short_layout: Any) -> None:
    bay = make_bay(layout=short_layout.model_copy(update={"most_u_mm": 0.01, "most_u_deg": 1e-4}))
    bay.finish()
    solution = bay.fold.solution()
    yard = yard_of(bay.fold, {one.line for one in solution.observations}, {"trailer"})
    prospect = prospect_of(bay.fold.fresh_solver(), solution, yard.lines(), Rule.GUARD_95)
    rated = turns_of(prospect, yard, yard.turns)
    offers = [make() for _, _, make in rated]
    assert sorted(offer.turn for offer in offers) == ["T1Lh", "T1Rh", "T2Lh", "T2Rh"]
    for (rate, gain, _), offer in zip(rated, offers, strict=True):
        assert gain == pytest.approx(progress(prospect, offer), rel=1e-9)
        assert all(offer.turn in shot.targets for shot in offer.shots)
        alone = yard.turned(offer.turn, [(offer.shots[0], offer.lines[0])])
        assert rate >= progress(prospect, alone) / alone.seconds - 1e-12
    assert len(turns_of(prospect, yard, yard.turns, 2)) == 2
