"""The preparation list and the cautions: what must be on them, whoever edits them."""

from __future__ import annotations

import pytest

from axledger.job.preparation import CAUTIONS, PREPARATION


def test_items_have_ids_of_their_own_and_words() -> None:
    ids = [item.id for item in PREPARATION]
    assert len(set(ids)) == len(ids)
    assert all(item.id.isalpha() and item.id.islower() and len(item.words) > 10 for item in PREPARATION)


@pytest.mark.parametrize(
    "subject", ["chock", "tyre", "settled", "steering", "uncoupled", "straightedges", "known length"]
)
def test_the_list_covers(subject: str) -> None:
    assert any(subject in item.words for item in PREPARATION)


@pytest.mark.parametrize(
    "subject",
    ["Chock", "jack", "tip", "air suspension", "do not look into the beam", "hands in the steering", "Torque",
     "road test", "makers' procedures", "licensed practice", "not a roadworthiness certificate"],
)  # fmt: skip
def test_the_cautions_cover(subject: str) -> None:
    assert any(subject in caution for caution in CAUTIONS)
