"""Wiring: addresses choose transports, one device in two roles is one link, typed lines reach their instrument."""

from __future__ import annotations

import os
import queue
from pathlib import Path
from typing import Any

import pytest

from axledger.contract.errors import BadInput, UnknownName
from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.contract.transport import Arrived, Lost, Opened, SystemClock
from axledger.job.digest import digests
from axledger.job.fold import JobFold
from axledger.job.library import load_layout
from axledger.job.opening import enrol, fold_job, open_job
from axledger.job.run import JobRun
from axledger.job.wiring import sources_of, supervisor_maker
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for, load_profile
from axledger_simulators.peers.listener import Listener
from axledger_simulators.peers.tcp_port import TcpPort

RECORD = QuantityRecord(repeatability=0.001, resolution=0.001, u_zero=0.001)


def _instrument(name: str, profile: str, address: str) -> Instrument:
    return Instrument(name=name, profile=profile, address=address, quantities={Quantity.LENGTH: RECORD})


def test_one_device_in_two_roles_is_one_link() -> None:
    fold = JobFold("job", decoder_for)
    both = _instrument("both", "metre-tilt", "/dev/one")
    fold.instruments = {"meter": both, "inclinometer": both}
    assert [(source.role, source.address) for source in sources_of(fold)] == [("meter", "/dev/one")]


def test_two_devices_are_two_links_with_the_text_of_their_profiles() -> None:
    fold = JobFold("job", decoder_for)
    fold.instruments = {"meter": _instrument("a", "metre-line", "/dev/a"), "x": _instrument("b", "typed", "typed:b")}
    sources = sources_of(fold)
    assert [source.instrument for source in sources] == ["a", "b"]
    assert 'name = "metre-line"' in sources[0].profile_text


def test_a_profile_of_the_shops_own_is_found(tmp_path: Path) -> None:
    text = 'schema = 1\nname = "own"\ntitle = "own"\ntransports = ["serial"]\n[[line]]\nkind = "status"\n'
    (tmp_path / "own.toml").write_text(text + 'pattern = "x"\nstatus = "other"\n', encoding="utf-8")
    fold = JobFold("job", decoder_for)
    fold.instruments = {"meter": _instrument("a", "own", "/dev/a")}
    assert sources_of(fold, [tmp_path])[0].profile_text.startswith("schema = 1")
    with pytest.raises(UnknownName):
        sources_of(fold)


@pytest.mark.parametrize("address", ["", "ftp://somewhere"])
def test_an_address_of_unknown_form_is_refused_before_any_thread_starts(address: str) -> None:
    make = supervisor_maker(SystemClock())
    with pytest.raises(BadInput):
        make(address, load_profile("metre-line"), {}, lambda _event: None)


def test_a_transport_nobody_registered_is_named_with_the_known_ones() -> None:
    with pytest.raises(UnknownName) as error:
        supervisor_maker(SystemClock())("pigeon:7", load_profile("metre-line"), {}, lambda _event: None)
    assert "serial" in error.value.known


class _Lines:
    def __init__(self) -> None:
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()

    def readline(self) -> str:
        return self._lines.get()

    def push(self, line: str) -> None:
        self._lines.put(line)


def test_typed_lines_reach_the_instrument_at_their_address() -> None:
    lines, heard = _Lines(), queue.SimpleQueue[Any]()
    supervisor = supervisor_maker(SystemClock(), {"typed:bench": lines})(
        "typed:bench", load_profile("typed"), {}, heard.put
    )
    supervisor.start()
    try:
        assert isinstance(heard.get(timeout=5), Opened)
        lines.push("4.318 m\n")
        arrived = heard.get(timeout=5)
        assert isinstance(arrived, Arrived)
        assert arrived.data == b"4.318 m\n"
    finally:
        supervisor.stop()
        lines.push("")


def test_a_link_over_a_real_port(threads_end: None) -> None:
    peer, listener = TcpPort(), Listener()
    try:
        link = supervisor_maker(SystemClock())(peer.address, load_profile("metre-line"), {}, listener)
        link.start()
        assert listener.next(Opened).identity
        assert peer.listened(5.0)
        peer.send(b"8.110m\r\n")
        assert listener.next(Arrived).data
        assert link.stop()
    finally:
        peer.close()


def test_a_link_over_a_recorded_stream(tmp_path: Path, threads_end: None) -> None:
    file = tmp_path / "stream.jsonl"
    file.write_text('{"t": 0, "hex": "382e3131306d0d0a"}\n', encoding="utf-8")
    listener = Listener()
    link = supervisor_maker(SystemClock())(f"recorded:{file}", load_profile("metre-line"), {}, listener)
    link.start()
    assert listener.next(Opened)
    assert listener.next(Arrived).data == b"8.110m\r\n"
    assert listener.next(Lost)
    link.stop()


if os.name == "posix":
    from axledger_simulators.peers.pty_port import PtyPort

    def test_a_device_that_is_not_there_is_told_once_and_opens_when_it_comes(tmp_path: Path, threads_end: None) -> None:
        port, listener = tmp_path / "port", Listener()
        link = supervisor_maker(SystemClock())(str(port), load_profile("metre-line"), {}, listener)
        link.start()
        try:
            assert listener.next(Lost).why.startswith(f"{port} is not there: ")
            peer = PtyPort(port)
            try:
                assert listener.next(Opened).identity
                assert [type(event) for event in listener.heard] == [Lost, Opened]
                peer.send(b"8.110m\r\n")
                assert listener.next(Arrived).data
                peer.unplug()
                listener.next(Lost)
            finally:
                peer.close()
        finally:
            assert link.stop()

    def test_a_job_tells_of_an_absent_device_and_of_its_coming_and_replays_the_same(tmp_path: Path) -> None:
        port, clock = tmp_path / "port", SystemClock()
        with Ledger.open(tmp_path / "home") as ledger:
            both = Instrument(
                name="both", profile="metre-tilt", address=str(port),
                quantities={Quantity.LENGTH: RECORD, Quantity.INCLINATION: RECORD},
            )  # fmt: skip
            enrolled = enrol(ledger, both, person="Ada", stamp=clock.now())
            roles = {"meter": enrolled, "inclinometer": enrolled}
            job = open_job(ledger, load_layout("semitrailer-1axle"), None, roles, stamp=clock.now(),
                           person="Ada", name="first")  # fmt: skip
            run = JobRun(ledger, job, clock=clock, make_decoder=decoder_for, make_supervisor=supervisor_maker(clock),
                         person="Ada")  # fmt: skip
            run.start(sources_of(run.fold))
            told = run.pump(10.0)
            assert [one.kind for one in told] == ["link"]
            assert f"{port} is not there" in told[0].words
            peer = PtyPort(port)
            try:
                for _ in range(100):
                    if not any(link.state == "opened" for link in run.fold.links.values()):
                        run.pump(0.1)
                assert [link.state for link in run.fold.links.values()] == ["opened"]
            finally:
                run.stop()
                peer.close()
            events = [entry.body["event"] for entry in ledger.entries(kinds={"link"})]
            assert events == ["lost", "opened", "closed"]
            assert digests(fold_job(ledger, job, decoder_for)) == digests(run.fold)
