"""The live run: durable before folded, folded before acknowledged; nothing delivered is lost."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from axledger.assurance.replay import replay
from axledger.contract.errors import DeviceTrouble, Refused, StorageTrouble
from axledger.contract.profile import parse_profile
from axledger.contract.transport import Arrived, Lost
from axledger.job.digest import digests
from axledger.job.opening import fold_job
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for, profile_text
from axledger_simulators.line_form import form_named

Make = Callable[..., Any]


def with_acknowledge() -> str:
    return profile_text("metre-tilt") + '\n[acknowledge]\nreply = "\\u0055"\n'


def numbered(counter: int, length_m: float = 8.110) -> bytes:
    return form_named("metre-tilt").measured(length_m=length_m, tilt_deg=0.5, counter=counter)


@pytest.fixture
def answered(make_bay: Make) -> Any:
    """A bay whose meter waits for an acknowledgement."""
    return make_bay(meter="metre-tilt", meter_text=with_acknowledge(), one_device=True)


def test_every_measurement_is_acknowledged_and_every_repeat_again(answered: Any) -> None:
    for late_s in (10.0, 0.025, 0.025, 0.1):
        answered.send(numbered(1), after_s=late_s)
    answered.send(numbered(2), after_s=2)
    assert answered.link("meter").written == [b"\x55"] * 5
    assert answered.states() == ["accepted", "repeat", "repeat", "repeat", "accepted"]
    out = [entry.body["hex"] for entry in answered.ledger.entries() if entry.body.get("dir") == "out"]
    assert out == ["55"] * 5
    answered.same_as_refolded()


def test_nothing_is_acknowledged_before_it_is_durable(answered: Any) -> None:
    seen: list[int] = []
    link = answered.link("meter")

    class Noting(list[bytes]):
        def append(self, data: bytes) -> None:
            with Ledger.read(answered.folder) as other:
                seen.append(
                    sum(1 for entry in other.entries() if entry.kind == "arrival" and entry.body["dir"] == "in")
                )
            super().append(data)

    link.written = Noting()
    answered.send(numbered(1), after_s=10)
    answered.send(numbered(2), after_s=10)
    assert seen == [1, 2]


def test_an_acknowledgement_that_cannot_leave_costs_nothing(answered: Any) -> None:
    """The device sends again when the link is back, and then hears it."""
    answered.link("meter").reaches = False
    told = answered.send(numbered(1), after_s=10)
    assert [one.kind for one in told] == ["accepted"]
    answered.lost()
    answered.link("meter").reaches = True
    answered.recovered()
    answered.send(numbered(1), after_s=0.2)
    assert answered.states() == ["accepted", "repeat"]
    assert answered.link("meter").written == [b"\x55"]


def test_a_burst_is_folded_in_the_order_of_delivery(bay: Any) -> None:
    bay.level()
    for metres in (8.1100, 8.1102, 8.1099):
        bay.clock.advance(0.05)
        bay.link("meter").sink(Arrived(bay.clock.now(), f"{metres:.4f}m\r\n".encode()))
    before = bay.ledger.head().size
    bay.pump()
    assert bay.ledger.head().size == before + 3
    assert [bay.fold.readings[n].raw for n in (9, 10, 11)] == [b"8.1100m\r", b"8.1102m\r", b"8.1099m\r"]
    numbers = [e.body["n"] for e in bay.ledger.entries(kinds={"arrival"}) if e.body["link"].endswith("-2")]
    assert numbers == list(range(1, len(numbers) + 1))


def test_what_cannot_be_stored_waits_and_is_stored_later_in_order(make_bay: Make) -> None:
    """Another program holds the ledger's file: nothing is shown or acknowledged, and nothing is lost."""
    bay = make_bay(repeats=1)
    bay.ledger.close()
    bay.ledger = Ledger.open(bay.folder, busy_timeout_s=0.05)
    bay.run = bay.fresh_run()
    bay.plug_in()
    foreign = sqlite3.connect(bay.ledger.path, isolation_level=None)
    foreign.execute("BEGIN IMMEDIATE")
    for metres in (8.110, 8.111):
        with pytest.raises(StorageTrouble):
            bay.length(metres)
    with pytest.raises(StorageTrouble):
        bay.act("skip")
    assert (len(bay.fold.readings), bay.fold.board.closed) == (0, {})
    foreign.execute("ROLLBACK")
    foreign.close()
    bay.act("note", words="the file is free again")
    assert [reading.raw.strip() for reading in bay.fold.readings.values()] == [b"8.1100m", b"8.1110m"]
    assert [e.kind for e in bay.ledger.entries(job=bay.job)][-3:] == ["arrival", "arrival", "act"]
    bay.same_as_refolded()


def test_a_lost_and_recovered_link_in_the_middle_of_a_job(bay: Any) -> None:
    for _ in range(9):
        bay.shoot()
    bay.send(b"8.1", after_s=2)
    told = bay.lost()
    assert [one.kind for one in told] == ["refused", "link"]
    assert "the plug was pulled" in told[-1].words
    bay.clock.advance(60)
    assert [one.words for one in bay.recovered()] == ["meter-a: link recovered"]
    bay.clock.advance(5)
    bay.finish()
    assert bay.fold.counts() == {
        **dict.fromkeys(bay.fold.counts(), 0),
        "received": 17,
        "accepted": 16,
        "refused": 1,
    }
    bay.same_as_refolded()


def test_silence_is_told(bay: Any) -> None:
    assert [one.words for one in bay.silent("inclinometer")] == ["tilt-b: link silent"]


def test_the_end_takes_what_was_still_delivered_and_records_the_links_and_a_checkpoint(bay: Any) -> None:
    link = bay.link("inclinometer")
    bay.clock.advance(10)
    link.at_stop = [Arrived(bay.clock.now(), b"+0.50\r\n"), Lost(bay.clock.now(), "ended")]
    told = bay.run.stop()
    assert bay.states() == ["accepted"]
    assert "accepted" in [one.kind for one in told]
    assert [entry.kind for entry in bay.ledger.entries(job=bay.job)][-3:] == ["link", "link", "checkpoint"]
    assert all(link.stopped for link in bay.links.values())
    assert bay.run.stop() == []
    assert replay(bay.ledger, decoder_for).identical


def test_readings_in_the_last_burst_are_not_acknowledged_to_a_link_that_has_ended(answered: Any) -> None:
    link = answered.link("meter")
    answered.clock.advance(10)
    link.at_stop = [Arrived(answered.clock.now(), numbered(1))]
    answered.run.stop()
    assert answered.states() == ["accepted"]
    assert link.written == []


def test_a_gap_that_ended_before_an_act_is_folded_before_it(make_bay: Make) -> None:
    """A line that a pause ends, on a device without end marks, was taken before the key was pressed."""
    text = profile_text("metre-line").replace('end = "any"', 'end = "quiet"')
    bay = make_bay(meter_text=text, repeats=1)
    bay.level()
    bay.send(b"8.1100m", after_s=10)
    assert len(bay.fold.readings) == 4
    told = bay.act("undo")
    assert [one.kind for one in told] == ["accepted", "act"]
    assert bay.states()[-1] == "set aside"
    bay.same_as_refolded()


def test_a_job_closed_with_the_links_up_and_half_a_line_pending_replays(make_bay: Make) -> None:
    bay = make_bay(meter_text=profile_text("metre-line").replace('end = "any"', 'end = "quiet"'), repeats=1)
    bay.finish()
    bay.send(b"8.1100m", after_s=10)
    bay.send(b"+0.", "inclinometer")
    bay.clock.advance(5)
    bay.run.close_job()
    assert bay.states()[-1] == "unassigned"
    assert replay(bay.ledger, decoder_for).differences == []
    bay.run.stop()
    assert replay(bay.ledger, decoder_for).differences == []


def test_a_gap_is_not_called_while_an_arrival_waits_in_the_queue(
    make_bay: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stamped before the look at the clock, delivered after it: the live run must not end the line in between."""
    bay = make_bay(meter_text=profile_text("metre-line").replace('end = "any"', 'end = "quiet"'), repeats=1)
    bay.level()
    bay.send(b"8.11", after_s=10)
    stamp = bay.clock.advance(0.04)
    with monkeypatch.context() as patch:
        # between a look into the queue and the next look at the clock 60 ms may pass: the gap would be over
        patch.setattr(bay.clock, "now", lambda now=bay.clock.now: (now(), bay.clock.advance(0.06))[0])
        bay.pump()
    bay.link("meter").sink(Arrived(stamp, b"00m"))
    bay.pump()
    bay.clock.advance(0.2)
    bay.pump()
    assert [reading.raw for reading in bay.fold.readings.values()][-1] == b"8.1100m"
    bay.same_as_refolded()


# -- asking for a measurement


def test_measure_asks_the_instrument_of_the_current_shot(make_bay: Make) -> None:
    bay = make_bay(meter="polled-metre")
    with pytest.raises(Refused, match="takes no command"):
        bay.run.measure()  # an inclination is wanted, and the inclinometer streams
    bay.level()
    bay.run.measure()
    command = parse_profile(profile_text("polled-metre"), path="polled").commands.measure
    assert command is not None
    assert bay.link("meter").written == [command.encode("latin-1")]


def test_one_device_in_both_roles_is_asked_for_both(make_bay: Make) -> None:
    text = profile_text("metre-tilt") + '\n[commands]\nmeasure = "M\\r"\n'
    bay = make_bay(meter="metre-tilt", meter_text=text, one_device=True, repeats=1)
    assert bay.fold.current().kind == "tilt"
    bay.run.measure()
    for number in range(4):
        bay.send(numbered(number), after_s=10)
        bay.act("accept") if bay.states()[-1] == "held" else None
    assert bay.fold.current().kind == "distance"
    bay.run.measure()
    assert bay.link("meter").written == [b"M\r"] * 2


def test_measure_needs_a_link_that_was_up(make_bay: Make) -> None:
    bay = make_bay(meter="polled-metre", plug_in=False)
    with pytest.raises(DeviceTrouble, match="is not linked"):
        bay.run.measure()


# -- starting again


def test_links_that_a_vanished_program_left_open_are_closed_in_the_record(bay: Any) -> None:
    bay.shoot()
    bay.restart(gracefully=False)
    assert {link.state for link in bay.fold.links.values()} == {"opened"}
    bay.plug_in()
    assert [link.state for link in bay.fold.links.values()] == ["closed", "closed", "opened", "opened"]
    assert len(bay.fold.links) == 4
    whys = [e.body.get("why") for e in bay.ledger.entries(kinds={"link"}) if e.body["event"] == "closed"]
    assert whys == ["the program had ended"] * 2


def test_closing_a_job_states_it_once_and_writes_the_head(bay: Any) -> None:
    bay.finish()
    told = bay.run.close_job()
    assert [one.kind for one in told] == ["closed"]
    with pytest.raises(Refused, match="closed"):
        bay.run.close_job()
    assert len([e for e in bay.ledger.entries() if e.kind == "statement"]) == 1
    assert any(Path(file).suffix for file in map(str, bay.folder.iterdir()))
    assert digests(fold_job(bay.ledger, bay.job, decoder_for)) == digests(bay.fold)
