"""A program killed at any moment loses no reading it has acknowledged, and its job opens again at the same shot."""

from __future__ import annotations

import math
import multiprocessing
import random
import runpy
import time
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.contract.transport import SystemClock
from axledger.job.fold import JobFold
from axledger.job.library import load_layout
from axledger.job.opening import enrol, instruments_in, open_job
from axledger.job.plan import Shot, plan_shots
from axledger.job.tally import PARTS
from axledger.ledger import Ledger, verify_folder
from axledger_drivers.registry import decoder_for
from axledger_simulators.peers.tcp_port import TcpPort

KILLS = 50
REPEATS = 5  # eight shots on the smallest trailer: a job of 40 readings

# A device of our own invention: both quantities on one link, nothing of it taken for backlog, as the job is started
# again many times a minute here.
PROFILE = r"""
schema = 1
name = "test-both"
title = "example: length and tilt on one line each"
transports = ["socket"]

[resolution]
length = "0.0001"
inclination = "0.01"

[timing]
backlog_s = 0.0

[[line]]
kind = "measured"
pattern = 'L(?P<length>\d+\.\d{4})'
value = [{ group = "length", quantity = "length", unit = "m" }]

[[line]]
kind = "measured"
pattern = 'A(?P<tilt>[+-]\d+\.\d{2})'
value = [{ group = "tilt", quantity = "inclination", unit = "deg" }]
"""

PROGRAM = """
from axledger.contract.transport import SystemClock
from axledger.job.run import JobRun, LinkSource
from axledger.job.wiring import supervisor_maker
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for

clock = SystemClock()
ledger, maker = Ledger.open(FOLDER), supervisor_maker(clock)
run = JobRun(ledger, JOB, clock=clock, make_decoder=decoder_for, make_supervisor=maker, person="Ada")
SAY.send(("open", run.fold.last_seq, ""))
run.start(
    [LinkSource(role="meter", instrument="both", address=ADDRESS, profile_text=PROFILE, identity={})]
)
while True:
    for told in run.pump(0.5):
        if told.reading is not None:
            shot = run.fold.current()
            SAY.send((told.reading, run.fold.readings[told.reading].raw, shot.id if shot else ""))
"""


@dataclass(slots=True)
class Yard:
    """The ledger, the device's end of the link, and what was acknowledged."""

    folder: Path
    program: Path
    peer: TcpPort
    job: str = ""
    said: dict[int, bytes] = field(default_factory=dict[int, bytes])
    shot: str = ""
    wanted: str = ""
    sent: int = 0

    def next_job(self) -> None:
        clock, layout = SystemClock(), load_layout("semitrailer-1axle")
        with Ledger.open(self.folder) as ledger:
            known = instruments_in(ledger).get("both") or enrol(ledger, DEVICE, person="Ada", stamp=clock.now())
            self.job = open_job(
                ledger, layout, None, {"meter": known, "inclinometer": known}, stamp=clock.now(), person="Ada",
                repeats=REPEATS,
            )  # fmt: skip
        self.said.clear()
        self.wanted = plan_shots(layout)[0].id

    def line(self, shot: str) -> bytes:
        """What the device sends for a shot: a wandering last digit tells every reading from the one before."""
        self.sent += 1
        if ":" in shot:
            return f"A{'-' if shot.endswith('turned') else '+'}0.{50 + self.sent % 3}\r\n".encode()
        return f"L{math.hypot(8.0, 1.332) + (self.sent % 9) * 1e-4:.4f}\r\n".encode()


DEVICE = Instrument(
    name="both",
    profile="test-both",
    address="socket://127.0.0.1:1",
    quantities={
        Quantity.LENGTH: QuantityRecord(repeatability=0.0007, resolution=0.0001, u_zero=0.001),
        Quantity.INCLINATION: QuantityRecord(repeatability=0.0004, resolution=0.0002, u_zero=0.001),
    },
)


def context() -> Any:
    """Processes that start in a moment, where the system has them: what they need is imported beforehand."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    found = multiprocessing.get_context("forkserver")
    found.set_forkserver_preload(["axledger.job.run", "axledger.job.wiring", "axledger_drivers.transports.serial_port"])
    return found


def work_until_killed(yard: Yard, start: Any, seconds: float) -> None:
    """Let a process work on the job, feed it shot by shot, kill it so many seconds after it has opened the job."""
    hears, says = start.Pipe(duplex=False)
    scene = {
        "FOLDER": yard.folder, "JOB": yard.job, "ADDRESS": yard.peer.address, "PROFILE": PROFILE, "SAY": says,
    }  # fmt: skip
    process = start.Process(
        target=runpy.run_path, args=(str(yard.program),), kwargs={"init_globals": scene}, daemon=True
    )
    process.start()
    says.close()
    try:
        assert hears.poll(20.0), "the process did not come up"
        hears.recv()
        feed(yard, hears, time.monotonic() + seconds)
    finally:
        process.kill()
        process.join(10.0)
        take(yard, hears)
        hears.close()


def feed(yard: Yard, hears: Connection, until: float) -> None:
    while yard.wanted and (left := until - time.monotonic()) > 0:
        if not yard.peer.listened(min(left, 0.02)):
            continue
        yard.peer.send(yard.line(yard.wanted))
        if hears.poll(max(0.0, until - time.monotonic())) and take(yard, hears, one=True):
            yard.wanted = yard.shot


def take(yard: Yard, hears: Connection, *, one: bool = False) -> bool:
    """Note what the process has said; what it was still saying when it was killed was said to nobody."""
    try:
        while hears.poll(0):
            number, raw, shot = hears.recv()
            if number != "open":
                yard.said[number], yard.shot = raw, shot
            if one:
                return True
    except (EOFError, OSError):
        pass  # the other end was killed
    return False


@pytest.mark.slow
def test_fifty_kills_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    moments, start = random.Random("moments"), context()
    program = tmp_path / "scripted_job.py"
    program.write_text(PROGRAM, encoding="utf-8")
    yard = Yard(tmp_path / "ledger", program, TcpPort())
    yard.next_job()
    acknowledged = 0
    try:
        for _ in range(KILLS):
            before = len(yard.said)
            work_until_killed(yard, start, moments.choice((0.0, moments.uniform(0, 0.15), moments.uniform(0.15, 0.35))))
            acknowledged += len(yard.said) - before
            done = check(yard)
            if done:
                yard.next_job()
    finally:
        yard.peer.close()
    assert acknowledged >= 40
    assert verify_folder(yard.folder).ok


def check(yard: Yard) -> bool:
    """Open ledger and job as the next start does; tell whether the job is finished."""
    fold, last = JobFold(yard.job, decoder_for), max(yard.said, default=0)
    at_last = "nothing"
    with Ledger.open(yard.folder) as ledger:
        for entry in ledger.entries():
            before = len(fold.readings)
            fold.apply(entry)
            if before < len(fold.readings) == last:
                at_last = name_of(fold.current())
    assert yard.said.items() <= {number: one.raw for number, one in fold.readings.items()}.items()
    counts = fold.counts()
    assert counts["received"] == sum(counts[part] for part in PARTS) == len(fold.heard)
    # what was stored and could not be said any more moves the job on, but only by what is in the ledger
    assert at_last == (yard.shot if last else "nothing")
    yard.wanted = name_of(fold.current())
    return not yard.wanted


def name_of(shot: Shot | None) -> str:
    return shot.id if shot is not None else ""
