"""Live and replayed are the same, however the stream is cut, whenever time is allowed to pass, also over a restart."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axledger.contract.errors import Refused, UnknownName
from axledger.contract.transport import Stamp
from axledger.job import facts
from axledger.job.digest import digests
from axledger.job.fold import JobFold
from axledger.job.tally import PARTS
from axledger_drivers.registry import decoder_for

MAKING = settings(max_examples=12, deadline=None)


@dataclass(frozen=True, slots=True)
class Fact:
    """An entry without a ledger."""

    seq: int
    body: dict[str, Any]

    @property
    def kind(self) -> str:
        return str(self.body["kind"])


def twin_of(bay: Any) -> Iterator[None]:
    """Fold along with the live run, entry by entry; compare after each step, time allowed to pass on both sides."""
    twin = JobFold(bay.job, decoder_for)
    seen = 0
    while True:
        for entry in bay.ledger.entries(after=seen):
            twin.apply(entry)
            seen = entry.seq
        for fold in (twin, bay.fold):
            fold.quiet(bay.clock.now().mono_ns)
        assert digests(twin) == digests(bay.fold)
        assert twin.counts() == bay.fold.counts()
        yield


def test_replayed_is_live_after_every_entry(bay: Any) -> None:
    twin = twin_of(bay)
    while bay.fold.current() is not None:
        bay.shoot()
        next(twin)
    assert set(bay.states()) == {"accepted"}


def test_replayed_is_live_with_the_job_closed_and_opened_again_in_the_middle(bay: Any) -> None:
    for _ in range(5):
        bay.shoot()
    before, open_before = digests(bay.fold)["board"], bay.fold.current()
    bay.restart()
    bay.same_as_refolded()
    assert digests(bay.fold)["board"] == before
    assert bay.fold.current() == open_before
    bay.plug_in()
    bay.finish()
    bay.same_as_refolded()
    assert len(bay.fold.readings) == 16
    assert bay.fold.counts()["accepted"] == 16


def test_replayed_is_live_where_the_program_vanished_with_half_a_line_pending(bay: Any) -> None:
    bay.shoot()
    bay.send(b"+0.", "inclinometer", after_s=5)
    bay.restart(gracefully=False)
    bay.plug_in()
    bay.same_as_refolded()
    assert [link.state for link in bay.fold.links.values()] == ["closed", "closed", "opened", "opened"]
    # half a line of an ended link is shown as what it was, and never joined to what the new link sends
    bay.send(b"52\r\n", "inclinometer", after_s=5)
    assert bay.fold.counts()["refused"] == 2
    bay.same_as_refolded()


STREAM = b"8.1102m\r\nERR255\r\n8.1099m\r\n\r\nnoise\xff\x00m\r8.1101m\r\n\n4.3"


@MAKING
@given(
    cuts=st.lists(st.integers(1, len(STREAM) - 1), max_size=12), gaps=st.lists(st.sampled_from((0.0, 0.003, 0.4, 2.5)))
)
def test_cuts_and_calls_of_quiet_anywhere_change_nothing(new_bay: Any, cuts: list[int], gaps: list[float]) -> None:
    edges = [0, *sorted(set(cuts)), len(STREAM)]
    pieces = [STREAM[start:stop] for start, stop in pairwise(edges)]
    with new_bay() as bay:
        bay.level()
        for number, piece in enumerate(pieces):
            bay.send(piece, after_s=gaps[number] if number < len(gaps) else 0.0)
            bay.fold.quiet(bay.clock.now().mono_ns)
        bay.fold.quiet(bay.clock.advance(3.0).mono_ns)
        bay.same_as_refolded()
        counts = bay.fold.counts()
        assert counts["received"] == sum(counts[part] for part in PARTS) == len(bay.fold.heard)
        if max(gaps, default=0.0) < 1.0:  # no part grew stale, so the lines are what they were uncut
            lengths = [one.raw.strip() for one in bay.fold.readings.values() if one.role == "meter"]
            assert lengths == [b"8.1102m", b"8.1099m", b"8.1101m"]


def test_two_links_whose_gaps_end_between_two_entries_come_in_the_order_of_time(make_bay: Callable[..., Any]) -> None:
    """A live run looks five times a second, a replay only at entries: the order of frames must not depend on it."""
    bay = make_bay()
    bay.send(b"8.1", "meter", after_s=0.5)
    bay.clock.advance(0.4)
    bay.send(b"+0.", "inclinometer")
    # the part that came later is that of the link which stands first in the list
    assert [link.role for link in bay.fold.links.values()] == ["inclinometer", "meter"]
    seldom = bay.refolded(quiet_to_ns=0)
    for _ in range(12):
        bay.fold.quiet(bay.clock.advance(0.2).mono_ns)
    seldom.quiet(bay.clock.now().mono_ns)
    assert [heard.frame.raw for heard in bay.fold.heard] == [b"8.1", b"+0."]
    assert digests(seldom) == digests(bay.fold)


def test_looking_at_the_state_decides_nothing(make_bay: Callable[..., Any]) -> None:
    """Predictions, which hold readings, are the same bits whether or not somebody asked for them in between."""
    bay = make_bay(repeats=1)
    bay.level()
    for _ in range(2):
        bay.fold.solution()
        bay.act("blocked")
        bay.fold.solution()
        bay.act("undo")
        bay.fold.solution()
        bay.shoot()
    shot = bay.fold.current()
    again = bay.refolded()
    live, replayed = bay.fold.solution(), again.solution()
    assert live.adjusted.x.tobytes() == replayed.adjusted.x.tobytes()
    line = bay.fold.upcoming()[shot.id]
    assert live.predict(line) == replayed.predict(line)


def test_entries_of_other_jobs_and_of_no_job_are_passed_over(bay: Any) -> None:
    bay.shoot()
    before = digests(bay.fold)
    stamp = Stamp(10**15, 10**18)
    bay.ledger.append([facts.link("x", "opened", stamp, job="another"), facts.arrival("x", 1, b"1", stamp, job=None)])
    assert digests(bay.refolded(quiet_to_ns=0)) == before


def test_a_link_that_was_never_opened_is_told_and_nothing_more(bay: Any) -> None:
    body = facts.link("strange", "lost", bay.clock.now(), job=bay.job, instrument="meter-a", why="no such port")
    (told,) = bay.fold.apply(Fact(10_000, body))
    assert (told.kind, told.words) == ("link", "meter-a: lost no such port")
    assert "strange" not in bay.fold.links


def test_a_fold_without_its_job_has_nothing_to_show() -> None:
    fold = JobFold("nobody", decoder_for)
    assert fold.apply(Fact(1, {"kind": "unheard of", "job": "nobody", "mono": "1", "utc": "1"})) == []
    assert (fold.shots(), fold.every_shot(), fold.current(), fold.solution()) == ((), (), None, None)
    assert fold.fresh_solution(1) is None
    with pytest.raises(LookupError, match="nobody"):
        fold.fresh_solver()


def test_a_shot_is_named_as_the_plan_lists_it(bay: Any) -> None:
    with pytest.raises(Refused) as caught:
        bay.fold.shot_named("K>T9Lh")
    assert "K>T1Lh" in caught.value.allowed


def test_readings_after_the_closing_are_kept_unassigned_in_the_round_of_their_time(bay: Any) -> None:
    bay.finish()
    bay.act("round")
    bay.run.close_job()
    bay.length(8.11)
    place = bay.fold.board.places[17]
    assert (place.state, place.why, place.round) == ("unassigned", "the job is closed", 2)
    bay.same_as_refolded()


# -- counts always add up ---------------------------------------------------------------------------------------

LINES = st.sampled_from(
    (
        b"8.1100m\r\n",
        b"8.1105m\r\n",
        b"8.1900m\r\n",
        b"9.0000m\r\n",
        b"ERR255\r\n",
        b"8.11m\r\n",
        b"8.1",
        b"\r\n",
        b"OK\r\n",
    )
)
TILTS = st.sampled_from((b"+0.50\r\n", b"-0.50\r\n", b"+0.52\r\n", b"OVER\r\n", b"+0."))
SHOTS = ("GT:along", "K>T1Lh", "K>T1Rh", "T1Lh>K", "T1Rh>K", "no>such")
NAMED = st.one_of(st.none(), st.sampled_from(SHOTS))
ACTS = st.one_of(
    st.tuples(st.sampled_from(("skip", "blocked", "retake", "go", "swap", "turned", "not-turned")), NAMED, st.none()),
    st.tuples(st.sampled_from(("accept", "aside", "move")), NAMED, st.one_of(st.none(), st.integers(0, 9))),
    st.tuples(st.sampled_from(("undo", "undo", "undo", "round", "note", "moved", "tick")), st.none(), st.none()),
)
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("meter"), LINES, st.sampled_from((0.0, 0.01, 10.0))),
        st.tuples(st.just("inclinometer"), TILTS, st.sampled_from((0.01, 10.0))),
        st.tuples(st.just("act"), ACTS, st.none()),
        st.tuples(st.just("link"), st.sampled_from(("lost", "recovered", "silent", "restart")), st.none()),
    ),
    min_size=4,
    max_size=30,
)


def do_step(bay: Any, step: tuple[str, Any, Any]) -> None:
    what, which, after_s = step
    if what in ("meter", "inclinometer"):
        bay.send(which, what, after_s=after_s)
    elif what == "act":
        name, shot, reading = which
        more = {"words": "x"} if name in ("note", "moved") else {"items": ["chocks"]} if name == "tick" else {}
        named = {key: value for key, value in (("shot", shot), ("reading", reading)) if value is not None}
        bay.act(name, **more, **named)
    elif which == "restart":
        bay.restart(gracefully=bool(len(bay.fold.heard) % 2))
        bay.plug_in()
    else:
        getattr(bay, which)()


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(steps=STEPS)
def test_whatever_happens_counts_add_up_and_no_reading_disappears(
    new_bay: Any, steps: list[tuple[str, Any, Any]]
) -> None:
    with new_bay() as bay:
        twin = twin_of(bay)
        known: dict[int, bytes] = {}
        for step in steps:
            size, before = bay.ledger.head().size, digests(bay.fold)["board"]
            try:
                do_step(bay, step)
            except (Refused, UnknownName):
                assert step[0] == "act"
                assert (bay.ledger.head().size, digests(bay.fold)["board"]) == (size, before)
            counts = bay.fold.counts()
            assert counts["received"] == sum(counts[part] for part in PARTS) == len(bay.fold.heard)
            assert set(bay.fold.board.places) == set(bay.fold.readings)
            assert known.items() <= {number: one.raw for number, one in bay.fold.readings.items()}.items()
            known = {number: one.raw for number, one in bay.fold.readings.items()}
            bay.fold.solution()
            next(twin)
        bay.same_as_refolded()
