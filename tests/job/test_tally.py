from __future__ import annotations

from axledger.job.board import Place, ReadingState
from axledger.job.tally import PARTS, Tally


def test_every_part_is_named_and_the_sum_is_what_was_received() -> None:
    tally = Tally().plus(refused=False).plus(refused=False).plus(refused=True)
    states: tuple[ReadingState, ...] = (
        "accepted", "held", "refused", "set aside", "unassigned", "repeat", "backlog", "accepted",
    )  # fmt: skip
    places = {number: Place(state=state) for number, state in enumerate(states)}
    counts = tally.with_places(places)
    assert list(counts) == ["received", *PARTS]
    assert counts["received"] == 11 == sum(counts[part] for part in PARTS)
    assert (counts["accepted"], counts["not a reading"], counts["refused"]) == (2, 2, 2)


def test_nothing_received_is_all_zeros() -> None:
    assert Tally().with_places({}) == dict.fromkeys(("received", *PARTS), 0)
