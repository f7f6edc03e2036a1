"""Repeats, doubled delivery and backlog; times and counts from field practice, no source."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from axledger.contract.frame import DeviceFault, Echo, Frame, Status, StatusKind, Unreadable
from axledger.contract.profile import Profile, parse_profile
from axledger.job.link_fold import LinkFold, describe
from axledger_drivers.registry import decoder_for, load_profile, profile_text
from axledger_simulators.line_form import form_named

Make = Callable[..., Any]
SECOND = 1_000_000_000


def link_of(profile: Profile | str) -> LinkFold:
    chosen = load_profile(profile) if isinstance(profile, str) else profile
    return LinkFold(
        link="a", role="meter", instrument="meter-a", address="test", profile=chosen, make_decoder=decoder_for
    )


def uses(link: LinkFold, *arrivals: tuple[bytes, float]) -> list[str]:
    found: list[str] = []
    for seq, (data, at_s) in enumerate(arrivals, start=1):
        found += [heard.use for heard in link.feed(data, round(at_s * SECOND), seq) if heard.frame.raw.strip()]
    return found


def numbered(counter: int, length_m: float = 8.110) -> bytes:
    return form_named("metre-tilt").measured(length_m=length_m, tilt_deg=0.5, counter=counter)


def test_a_device_that_sends_again_makes_one_reading_and_every_arrival_is_kept() -> None:
    link = link_of("metre-tilt")
    link.opened(0, "opened")
    four = [(numbered(1), 10 + late_s) for late_s in (0.0, 0.025, 0.050, 0.150)]
    assert uses(link, *four, (numbered(2, 3.906), 12.0)) == ["reading", *["repeat"] * 3, "reading"]
    assert link.arrivals == 5


def test_a_repeat_is_known_across_a_dropped_link(make_bay: Make) -> None:
    bay = make_bay(meter="metre-tilt", one_device=True)
    bay.send(numbered(1), after_s=10)
    bay.lost()
    bay.clock.advance(30)
    bay.recovered()
    bay.send(numbered(1), after_s=0.1)  # at once after the link came up, as a device does that missed its answer
    bay.send(numbered(2), after_s=10)
    assert bay.states() == ["accepted", "repeat", "accepted"]
    assert bay.fold.board.places[2].why == "sent again with the device's number 0001"
    bay.same_as_refolded()


@pytest.mark.parametrize("gracefully", [True, False])
def test_a_repeat_is_known_after_the_program_was_started_again(make_bay: Make, gracefully: bool) -> None:
    """Stored, then killed before the device heard of it: it sends again, and the reading is there once."""
    bay = make_bay(meter="metre-tilt", one_device=True)
    bay.send(numbered(1), after_s=10)
    bay.restart(gracefully=gracefully)
    bay.plug_in()
    bay.send(numbered(1), after_s=10)
    bay.send(numbered(2), after_s=10)
    assert bay.states() == ["accepted", "repeat", "accepted"]
    bay.same_as_refolded()


def test_a_counter_that_starts_again_refuses_nothing() -> None:
    link = link_of("metre-tilt")
    counters = (298, 299, 300, 1, 2)
    arrivals = [(numbered(n, 8 + n / 1000), 10.0 + 5 * at) for at, n in enumerate(counters)]
    assert uses(link, *arrivals) == ["reading"] * 5


def test_the_same_number_with_another_value_is_another_reading() -> None:
    assert uses(link_of("metre-tilt"), (numbered(1), 10), (numbered(1, 8.2), 20)) == ["reading", "reading"]


def test_doubled_delivery_makes_one_reading() -> None:
    line = b"8.110m\r\n"
    link = link_of("metre-line")
    assert uses(link, (line, 10), (line, 10.0005), (line, 10.0200)) == ["reading", "repeat", "repeat"]
    assert uses(link_of("metre-line"), (line + line, 10)) == ["reading", "repeat"]


def test_true_equal_shots_are_both_kept() -> None:
    line = b"8.110m\r\n"
    assert uses(link_of("metre-line"), (line, 10), (line, 10.0201), (line, 14)) == ["reading"] * 3


def test_other_bytes_are_never_a_doubled_delivery() -> None:
    lines = (b"8.110m\r\n", b"8.1100m\r\n", b"8.110 m\r\n")
    assert uses(link_of("metre-line"), *((line, 10 + n / 1000) for n, line in enumerate(lines))) == ["reading"] * 3


def test_what_comes_within_three_seconds_of_opening_is_backlog(bay: Any) -> None:
    bay.lost()
    bay.recovered()
    bay.clock.advance(0.2)
    for number in range(5):
        bay.length(8.10 + number / 1000, after_s=0.03)
    bay.length(8.11, after_s=8)
    assert bay.states() == ["backlog"] * 5 + ["unassigned"]
    assert bay.fold.board.places[1].why == "arrived 0.2 s after the link came up: taken before"
    assert bay.fold.counts()["backlog"] == 5
    bay.same_as_refolded()


def test_three_seconds_are_counted_to_the_end() -> None:
    link = link_of("metre-line")
    link.opened(7 * SECOND, "opened")
    assert uses(link, (b"8.110m\r\n", 9.999), (b"8.111m\r\n", 10.0)) == ["backlog", "reading"]


def test_faster_than_the_device_can_measure_is_backlog() -> None:
    text = profile_text("metre-line") + "\n[timing]\nshortest_s = 0.25\n"
    link = link_of(parse_profile(text, path="fast"))
    burst = [(b"8.110m\r\n", 10.0), (b"8.111m\r\n", 10.2), (b"8.112m\r\n", 10.44), (b"8.113m\r\n", 10.70)]
    assert uses(link, *burst) == ["reading", "backlog", "backlog", "reading"]


def test_a_held_value_of_the_device_is_no_reading() -> None:
    text = profile_text("metre-line").replace('kind = "measured"\n', 'kind = "measured"\nheld = true\n')
    link = link_of(parse_profile(text, path="held"))
    (heard, *_) = link.feed(b"8.110m\r\n", 10 * SECOND, 1)
    assert (heard.use, heard.why) == ("not a reading", "a held or computed value, not a live one")


def test_half_a_line_ends_with_its_connection() -> None:
    link = link_of("metre-line")
    link.feed(b"8.1", 10 * SECOND, 1)
    (left,) = link.ended("lost")
    assert (left.use, left.frame.raw) == ("not a reading", b"8.1")
    assert link.quiet(100 * SECOND) == ()
    assert link.opened(101 * SECOND, "opened") == ()
    assert uses(link, (b"10m\r\n", 110)) == ["not a reading"]


def test_time_that_runs_backwards_after_a_restart_of_the_computer_ends_nothing() -> None:
    link = link_of("metre-line")
    link.feed(b"8.1", 1000 * SECOND, 1)
    assert link.quiet(5 * SECOND) == ()


def test_silence_ends_with_the_next_byte(bay: Any) -> None:
    bay.silent()
    meter = next(link for link in bay.fold.links.values() if link.role == "meter")
    assert meter.state == "silent"
    bay.length(8.11)
    assert meter.state == "opened"


def test_what_was_sent_is_known_when_it_comes_back(make_bay: Make) -> None:
    bay = make_bay(meter="polled-metre", repeats=1)
    bay.level()
    bay.run.measure()
    command = bay.link("meter").written[-1]
    bay.send(command, after_s=0.02)
    bay.send(b"D:8.110m,0093\r\n", after_s=0.5)
    assert [heard.why for heard in bay.fold.heard if heard.use == "not a reading"] == ["echo of what was sent"]
    assert bay.states()[-1] == "accepted"
    bay.same_as_refolded()


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        (DeviceFault("255", "no target"), "no measurement: no target (code 255)"),
        (DeviceFault("", "no target"), "no measurement: no target"),
        (Unreadable("no line reads it"), "not understood: no line reads it"),
        (Echo(b"D"), "echo of what was sent"),
        (Status(StatusKind.BATTERY, " 3.1V "), "battery: 3.1V"),
        (Status(StatusKind.BLANK, ""), ""),
    ],
)
def test_outcomes_are_described(outcome: DeviceFault | Unreadable | Echo | Status, words: str) -> None:
    assert describe(outcome) == words
    assert isinstance(Frame(raw=b"", at_ns=0, outcome=outcome).outcome, type(outcome))


def test_a_reading_carries_both_quantities_and_its_source(make_bay: Make) -> None:
    bay = make_bay(meter="metre-tilt", one_device=True, repeats=1)
    assert len(bay.links) == 1
    bay.send(numbered(7), after_s=10)
    reading = bay.fold.readings[1]
    values = {quantity.value: value for quantity, value in reading.values.items()}
    assert values["length"] == (pytest.approx(8.110), "8.110", "m")
    assert values["inclination"] == (pytest.approx(math.radians(0.5)), "+00.50", "deg")
    (entry,) = (entry for entry in bay.ledger.entries() if entry.seq == reading.seq)
    assert bytes.fromhex(entry.body["hex"]).startswith(reading.raw)
    assert reading.utc_ns - reading.at_ns == bay.clock.now().utc_ns - bay.clock.now().mono_ns
