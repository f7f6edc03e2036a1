from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

from axledger.drawing.figures import Units
from axledger.job.state import JobState
from axledger.report.record_section import (
    instrument_section,
    preparation_section,
    reading_section,
    setting_section,
    utc_words,
    work_section,
)


def _words(html: str) -> str:
    return " ".join("".join(ElementTree.fromstring(html).itertext()).split())


def test_every_reading_is_listed_as_it_was_sent_with_what_became_of_it(state: JobState) -> None:
    section = ElementTree.fromstring(reading_section(state, Units()))
    rows = [["".join(cell.itertext()) for cell in row] for row in section.iter("tr")][1:]
    assert len(rows) == 3
    assert rows[1] == ["2", "22", "2025-02-19 21:20:02 UTC", "meter-a", "4.320 m", "4320 mm", "1", "F0L>S1Lf", "held",
                       "499 mm longer"]  # fmt: skip


def test_the_count_of_arrivals_adds_up(state: JobState) -> None:
    words = _words(reading_section(state, Units()))
    line = words[words.index("received") : words.index("In order")]
    numbers = [int(word.rstrip(".")) for word in line.split() if word.rstrip(".").isdigit()]
    assert numbers[0] == sum(numbers[1:]) == 4


def test_instruments_stand_with_their_records(state: JobState) -> None:
    words = _words(instrument_section(state, {"meter": 4}))
    for part in ("meter-a (meter)", "A-17", "0.70 mm", "0.40 mm, u 1.0 mm", "2025-02-27", "in use; record 4"):
        assert part in words
    assert "+0.60 mm, u 0.30 mm" in words
    assert "Never checked" not in words


def test_an_instrument_that_was_never_checked_is_named_loudly(state: JobState) -> None:
    meter = state.instruments["meter"].model_copy(update={"last_check": None})
    section = instrument_section(replace(state, instruments={"meter": meter}, meter_zero=None), {})
    assert "Never checked: meter-a" in _words(section)
    assert 'class="loud"' in section
    assert "record unknown" in section


def test_what_was_taken_as_stated_is_listed(state: JobState) -> None:
    words = _words(setting_section(state.layout))
    assert "rest on settings taken as stated" in words
    assert "straightedge" in words
    assert "of the object itself 0.6" in words
    mounts = sum(len(unit.mount) for unit in state.layout.unit)
    assert len(list(ElementTree.fromstring(setting_section(state.layout)).iter("tr"))) == mounts + 1


def test_preparation_shows_what_was_left_open(state: JobState) -> None:
    words = _words(preparation_section(state))
    assert words.count("not ticked") == len(state.preparation) - 1
    assert "tickeddone" in words


def test_work_notes_and_what_was_left_out_are_listed(state: JobState, two_rounds: JobState) -> None:
    words = _words(work_section(two_rounds))
    assert "after round 1: left torque rod: 2 mm shim" in words
    assert "left spring sits low" in words
    assert "D1Lh>F0L: blocked" in words
    assert ": skipped" in words
    bare = replace(state, notes=(), blocked=(), shots=())
    assert work_section(bare) == ""
    unturned = tuple(replace(view, turned="not turned", status="done") for view in state.shots if view.shot.turn)
    assert "Targets left unturned" in work_section(replace(bare, shots=unturned))


def test_a_moment_is_shown_in_utc() -> None:
    assert utc_words(0) == "1970-01-01 00:00:00 UTC"
