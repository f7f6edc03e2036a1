"""Jobs on simulated vehicles, worked entry by entry through the real fold."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Protocol

import pytest

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.job import facts
from axledger.job.fold import Happening, JobFold
from axledger.job.layout import Layout, parse_layout
from axledger.job.limits import LimitSheet, parse_limit_sheet
from axledger.job.state import JobState, Words, decisive_of, state_of
from axledger_drivers.registry import decoder_for, profile_text
from axledger_simulators.clock import VirtualClock
from axledger_simulators.inclinometer import Inclinometer
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.vehicle import SimulatedVehicle

LIMITS = """
schema = 1
name = "test-limits"
title = "Limits invented for tests"
example = true

[[limit]]
key = "*.steer.toe.total"
unit = "deg"
lower = 0.05
upper = 0.25
source = "invented for tests"
revision = "1"

[[limit]]
key = "*.*.squareness"
unit = "deg"
lower = -0.2
upper = 0.2
source = "invented for tests"
revision = "1"

[[limit]]
key = "*.*.parallelism"
unit = "deg"
lower = -0.05
upper = 0.05
source = "invented for tests"
revision = "1"

[[limit]]
key = "*.*.offset"
unit = "mm"
upper = 8
source = "invented for tests"
revision = "1"
"""


@dataclass(frozen=True, slots=True)
class Fact:
    """One entry, as the fold sees it."""

    seq: int
    kind: str
    body: Mapping[str, Any]


class WorkedJob:
    """A job whose readings come from simulated instruments at a simulated vehicle."""

    def __init__(self, layout: Layout, *, limits: LimitSheet | None, repeats: int = 2, seed: int = 5) -> None:
        self.clock = VirtualClock()
        self.fold = JobFold("20250301-1", decoder_for)
        self.seq = 0
        self.vehicle = SimulatedVehicle.build(layout, seed)
        self.meter = DistanceMeter(seed)
        self.tilt = Inclinometer(seed)
        self.arrivals = {"meter": 0, "inclinometer": 0}
        self.words = Words(layout)
        self._open(layout, limits, repeats)
        self.decisive = decisive_of(self.fold)

    def _open(self, layout: Layout, limits: LimitSheet | None, repeats: int) -> None:
        stamp = self.clock.now()
        meter = Instrument(
            name="meter-a", serial="A-17", profile="metre-line", address="serial://sim", last_check="2025-02-27",
            quantities={Quantity.LENGTH: QuantityRecord(repeatability=0.0007, resolution=0.001, u_zero=0.001)},
        )  # fmt: skip
        tilt = Instrument(
            name="tilt-b", profile="tilt-line", address="serial://sim2",
            quantities={Quantity.INCLINATION: QuantityRecord(repeatability=2e-4, resolution=2e-4, u_zero=1e-3)},
        )  # fmt: skip
        record = facts.layout_record(layout)
        sheet = facts.limits_record(limits) if limits is not None else None
        self.apply(record)
        if sheet is not None:
            self.apply(sheet)
        seqs: dict[str, int] = {}
        for role, instrument in (("meter", meter), ("inclinometer", tilt)):
            self.apply(facts.instrument_record(instrument, person="Ada", stamp=stamp))
            seqs[role] = self.seq
        digests: dict[str, str] = {}
        for role, name in (("meter", "metre-line"), ("inclinometer", "tilt-line")):
            profile = facts.profile_record(profile_text(name))
            digests[role] = profile["digest"]
            self.apply(profile)
        self.apply(
            facts.job_opened(
                "20250301-1", layout=record["digest"], limits=sheet["digest"] if sheet else None, instruments=seqs,
                repeats=repeats, vehicle={"unit": "EX-204", "odometer": "412000 km"}, person="Ada", stamp=stamp,
            )
        )  # fmt: skip
        for role, instrument in (("meter", meter), ("inclinometer", tilt)):
            self.link(role, "opened", instrument=instrument.name, profile=digests[role], address=instrument.address)

    def apply(self, body: facts.Body) -> list[Happening]:
        self.seq += 1
        return self.fold.apply(Fact(self.seq, body["kind"], body))

    def link(self, role: str, event: str, **more: Any) -> list[Happening]:
        return self.apply(facts.link(f"link-{role}", event, self.clock.now(), job=self.fold.job, role=role, **more))

    def send(self, role: str, data: bytes) -> list[Happening]:
        """Let ``data`` arrive three seconds after what came before; tell what became of it."""
        stamp = self.clock.advance(3.0)
        self.arrivals[role] += 1
        body = facts.arrival(f"link-{role}", self.arrivals[role], data, stamp, job=self.fold.job)
        return self.apply(body) + self.fold.quiet(self.clock.advance(1.0).mono_ns)

    def act(self, name: str, **arguments: Any) -> list[Happening]:
        stamp = self.clock.advance(1.0)
        return self.apply(facts.act(self.fold.job, name, stamp, person="Ada", device="test", **arguments))

    def shoot(self, *, off_m: float = 0.0) -> list[Happening]:
        """Turn what is due and take the current shot; ``off_m`` spoils the distance."""
        shot = self.fold.current()
        assert shot is not None
        if shot.turn and (self.fold.board.round, shot.id) not in self.fold.board.turned:
            for target in shot.turn:
                self.vehicle.turn(target)
            self.act("turned")
        if shot.kind == "tilt":
            return self.send("inclinometer", self.tilt.shoot(self.vehicle.inclination(shot.start, shot.tilt)))
        line = self.vehicle.place(shot.start) - self.vehicle.place(shot.end)
        return self.send("meter", self.meter.shoot(math.dist(line, (0.0, 0.0, 0.0)) + off_m))

    def finish(self) -> None:
        """Take every open shot; accept what is held."""
        while self.fold.current() is not None:
            for told in self.shoot():
                if told.kind == "held":
                    self.act("accept", reading=told.reading)

    def state(self) -> JobState:
        return state_of(self.fold, self.words, self.decisive)


def _resolved(name: str) -> Layout:
    text = files("axledger.job").joinpath(f"layouts/{name}.toml").read_text(encoding="utf-8")
    layout = parse_layout(text, path=name)
    if not layout.combine:
        return layout
    units = [unit for part in layout.combine for unit in _resolved(part).unit]
    return layout.model_copy(update={"unit": tuple(units), "combine": ()})


LAYOUTS = sorted(
    entry.name.removesuffix(".toml")
    for entry in files("axledger.job").joinpath("layouts").iterdir()
    if entry.name.endswith(".toml")
)


@pytest.fixture(scope="session")
def limits() -> LimitSheet:
    return parse_limit_sheet(LIMITS, path="test limits")


class OpenJob(Protocol):
    def __call__(self, name: str = "tractor-4x2", *, repeats: int = 2, judged: bool = True) -> WorkedJob: ...


@pytest.fixture(scope="session")
def open_job(limits: LimitSheet) -> OpenJob:
    """Open a job on a shipped layout."""

    def opened(name: str = "tractor-4x2", *, repeats: int = 2, judged: bool = True) -> WorkedJob:
        return WorkedJob(_resolved(name), limits=limits if judged else None, repeats=repeats)

    return opened


@pytest.fixture(params=LAYOUTS, scope="session")
def layout_name(request: pytest.FixtureRequest) -> str:
    """The name of every shipped layout."""
    return str(request.param)


@pytest.fixture(scope="session")
def finished(open_job: OpenJob) -> JobState:
    """A whole job on the 4x2 tractor, one held reading among it."""
    job = open_job(repeats=1)
    for _ in range(6):
        job.shoot()
    job.shoot(off_m=0.5)
    job.finish()
    return job.state()
