"""A bay without ports: the real ledger, the real live run, real decoders; only the supervisors hand events at will."""

from __future__ import annotations

import contextlib
import math
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.profile import Profile
from axledger.contract.quantity import Quantity
from axledger.contract.transport import Arrived, LinkEvent, Lost, Opened, Recovered, Silent
from axledger.job.digest import digests
from axledger.job.fold import Happening, JobFold
from axledger.job.layout import Layout, Part, parse_layout
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.limits import LimitSheet
from axledger.job.opening import enrol, fold_job, open_job
from axledger.job.plan import Chosen, Shot
from axledger.job.run import JobRun, LinkSource
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for, profile_text
from axledger_simulators.beam import trace
from axledger_simulators.clock import VirtualClock
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.vehicle import SimulatedVehicle

# Two axles nearer to each other than any are: so that the lengths of a worked example fit. Invented for tests.
SHORT_LAYOUT = """
schema = 1
name = "test-short"
title = "Short trailer"
source = "invented for tests"

[[unit]]
id = "trailer"
name = "trailer"
kind = "towed"
reference = "coupling"
axle = [
  { code = "T1", id = "axle1", name = "axle 1", kind = "carrying", x_m = -3.660, group = "rear", wheel_half_m = 1.02 },
  { code = "T2", id = "axle2", name = "axle 2", kind = "carrying", x_m = -4.107, group = "rear", wheel_half_m = 1.02 },
]
mount = [
  { kind = "pin", code = "K", x_m = 0.0 },
  { kind = "hub", axle = "T1", half_span_m = 1.332 },
  { kind = "hub", axle = "T2", half_span_m = 1.332 },
]
stand = [
  { at = "K", shots = [{ to = "T2Lh" }, { to = "T1Lh" }, { to = "T2Rh" }, { to = "T1Rh" }] },
  { at = "T1Lh", turn = ["T1Lh"], shots = [{ to = "K" }, { to = "T2Lh" }] },
  { at = "T1Rh", turn = ["T1Rh"], shots = [{ to = "K" }, { to = "T2Rh" }] },
]
"""


@dataclass(slots=True)
class HandedEvents:
    """A supervisor that does what the test says. ``reaches``: whether what is sent leaves."""

    sink: Callable[[LinkEvent], None]
    written: list[bytes] = field(default_factory=list[bytes])
    reaches: bool = True
    started: bool = False
    stopped: bool = False
    at_stop: list[LinkEvent] = field(default_factory=list[LinkEvent])

    def start(self) -> None:
        self.started = True

    def write(self, data: bytes) -> None:
        if not self.reaches:
            raise DeviceTrouble("not sent", cause=DeviceCause.LOST, found="lost", allowed="a link", do="wait")
        self.written.append(data)

    def stop(self) -> bool:
        self.stopped = True
        for event in self.at_stop:
            self.sink(event)
        return True


@dataclass(slots=True, kw_only=True)
class Bay:
    """One job in a ledger of its own, worked by hand."""

    folder: Path
    ledger: Ledger
    clock: VirtualClock
    layout: Layout
    vehicle: SimulatedVehicle
    job: str
    texts: Mapping[str, str]
    run: JobRun
    links: dict[str, HandedEvents] = field(default_factory=dict[str, HandedEvents])
    told: list[Happening] = field(default_factory=list[Happening])

    @property
    def fold(self) -> JobFold:
        return self.run.fold

    # -- links

    def plug_in(self) -> None:
        """Start the run and let both links come up, long ago enough for what follows to be no backlog."""
        instruments = self.fold.instruments
        names = dict.fromkeys(instrument.name for instrument in instruments.values())
        sources = [
            LinkSource(
                role=next(role for role, instrument in instruments.items() if instrument.name == name),
                instrument=name, address=f"test:{name}", profile_text=self.texts[name], identity={},
            )
            for name in names
        ]  # fmt: skip
        self.told += self.run.start(sources)
        for link in self.links.values():
            link.sink(Opened(self.clock.now(), {"address": "test"}))
        self.told += self.run.pump(0.0)
        self.clock.advance(5.0)

    def supervisor(self, address: str, _profile: Profile, _identity: object, sink: Any) -> HandedEvents:
        self.links[address.removeprefix("test:")] = HandedEvents(sink)
        return self.links[address.removeprefix("test:")]

    def link(self, role: str) -> HandedEvents:
        return self.links[self.fold.instruments[role].name]

    def event(self, role: str, event: LinkEvent) -> list[Happening]:
        self.link(role).sink(event)
        return self.pump()

    def lost(self, role: str = "meter") -> list[Happening]:
        return self.event(role, Lost(self.clock.now(), "the plug was pulled"))

    def recovered(self, role: str = "meter") -> list[Happening]:
        return self.event(role, Recovered(self.clock.now(), {"address": "test"}))

    def silent(self, role: str = "meter") -> list[Happening]:
        return self.event(role, Silent(self.clock.now(), 5_000_000_000))

    def pump(self) -> list[Happening]:
        told = self.run.pump(0.0)
        self.told += told
        return told

    # -- readings

    def send(self, data: bytes, role: str = "meter", *, after_s: float = 0.0) -> list[Happening]:
        self.clock.advance(after_s)
        return self.event(role, Arrived(self.clock.now(), data))

    def length(self, metres: float, *, after_s: float = 10.0) -> list[Happening]:
        return self.send(f"{metres:.4f}m\r\n".encode(), after_s=after_s)

    def tilt(self, degrees: float, *, after_s: float = 10.0) -> list[Happening]:
        return self.send(f"{degrees + 0.0:+.2f}\r\n".encode(), "inclinometer", after_s=after_s)

    def plate(self, degrees: float, *, after_s: float = 10.0) -> list[Happening]:
        return self.send(f"{degrees:.1f} deg\n".encode(), "plate", after_s=after_s)

    def truth_m(self, shot: Shot) -> float:
        return trace(self.vehicle, shot.start, shot.end, folded=shot.fold).distance_m

    def shoot(self, *, off_m: float = 0.0) -> list[Happening]:
        """Turn what is due, then take the current shot; ``off_m`` spoils a distance."""
        shot = self.fold.current()
        assert shot is not None
        if (self.fold.board.round, shot.id) not in self.fold.board.turned and not self.fold.board.accepted(shot.id):
            for target in shot.turn:
                self.vehicle.turn(target)
        if shot.tilt.startswith("plate-"):
            return self.plate(math.degrees(self.vehicle.inclination(shot.start, shot.tilt)))
        if shot.kind == "tilt":
            return self.tilt(math.degrees(self.vehicle.inclination(shot.start, shot.tilt)))
        return self.length(self.truth_m(shot) + off_m)

    def level(self) -> None:
        """Take the inclinations, so that a distance is wanted next."""
        self.work(lambda shot: shot.kind == "tilt")

    def finish(self) -> None:
        self.work(lambda _shot: True)

    def work(self, wanted: Callable[[Shot], bool]) -> None:
        """Shoot while the current shot is ``wanted``; a job that does not get on fails here."""
        for _ in range(400):
            shot = self.fold.current()
            if shot is None or not wanted(shot):
                return
            self.shoot()
        raise AssertionError(f"the job stands still at {self.fold.current()}")

    def act(self, name: str, **arguments: Any) -> list[Happening]:
        self.clock.advance(1.0)
        told = self.run.act(name, **arguments)
        self.told += told
        return told

    # -- what is proved

    def states(self) -> list[str]:
        return [self.fold.board.places[number].state for number in sorted(self.fold.board.places)]

    def refolded(self, *, quiet_to_ns: int | None = None) -> JobFold:
        """The job as another process would read it now."""
        fold = fold_job(self.ledger, self.job, decoder_for)
        fold.quiet(self.clock.now().mono_ns if quiet_to_ns is None else quiet_to_ns)
        return fold

    def same_as_refolded(self) -> None:
        again = self.refolded()
        self.fold.quiet(self.clock.now().mono_ns)
        assert digests(again) == digests(self.fold)
        assert again.counts() == self.fold.counts()
        assert [shot.id for shot in again.open_shots()] == [shot.id for shot in self.fold.open_shots()]

    def restart(self, *, gracefully: bool = True) -> None:
        """End the run (or let the process vanish), open ledger and job again."""
        if gracefully:
            self.run.stop()
        self.ledger.close()
        self.ledger = Ledger.open(self.folder)
        self.links.clear()
        self.run = self.fresh_run()

    def fresh_run(self) -> JobRun:
        return JobRun(
            self.ledger, self.job, clock=self.clock, make_decoder=decoder_for, make_supervisor=self.supervisor,
            person="Ada",
        )  # fmt: skip


def instrument(name: str, profile: str, **quantities: QuantityRecord) -> Instrument:
    return Instrument(
        name=name, profile=profile, address=f"test:{name}",
        quantities={Quantity(key): record for key, record in quantities.items()},
    )  # fmt: skip


LENGTH = QuantityRecord(repeatability=0.0007, resolution=0.0001, u_zero=0.001)
PLATES = QuantityRecord(repeatability=math.radians(0.1), resolution=math.radians(0.1), u_zero=math.radians(0.1))
TILT = QuantityRecord(repeatability=math.radians(0.02), resolution=math.radians(0.01), u_zero=math.radians(0.05))


def build_bay(
    folder: Path, *, layout: Layout | str = "semitrailer-1axle", repeats: int = 2, meter: str = "metre-line",
    limits: LimitSheet | None = None, seed: int = 5, faults: PlantedFaults | None = None, plug_in: bool = True,
    meter_text: str | None = None, one_device: bool = False, parts: frozenset[Part] = frozenset(),
) -> Bay:  # fmt: skip
    """Enrol a meter and an inclinometer (or ``one_device`` for both), open a job and plug in.

    ``meter_text`` replaces the text of the meter's profile. With ``parts`` there are turning plates too.
    """
    chosen = load_layout(layout) if isinstance(layout, str) else layout
    clock, ledger = VirtualClock(), Ledger.open(folder)
    records = {
        "meter": instrument("meter-a", meter, length=LENGTH, **({"inclination": TILT} if one_device else {})),
        "inclinometer": instrument("tilt-b", "tilt-line", inclination=TILT),
    }
    if parts:
        records["plate"] = instrument("plates-c", "typed", inclination=PLATES)
    roles = {
        role: enrol(ledger, record, person="Ada", stamp=clock.now())
        for role, record in records.items()
        if not one_device or role == "meter"
    }
    if one_device:
        roles["inclinometer"] = roles["meter"]
    job = open_job(ledger, chosen, limits, roles, stamp=clock.now(), person="Ada", repeats=repeats,
                   chosen=Chosen(parts=parts) if parts else None)  # fmt: skip
    vehicle = SimulatedVehicle.build(chosen, seed, faults=faults or PlantedFaults(unevenness=0))
    texts = {"meter-a": meter_text or profile_text(meter), "tilt-b": profile_text("tilt-line"),
             "plates-c": profile_text("typed")}  # fmt: skip
    # the run needs the bay's supervisors and the bay needs the run: the first is replaced at once
    first = JobRun(
        ledger, job, clock=clock, make_decoder=decoder_for, make_supervisor=lambda *_: HandedEvents(print), person="Ada"
    )
    bay = Bay(
        folder=folder, ledger=ledger, clock=clock, layout=chosen, vehicle=vehicle, job=job, texts=texts, run=first
    )
    bay.run = bay.fresh_run()
    if plug_in:
        bay.plug_in()
    return bay


@pytest.fixture
def bay(tmp_path: Path) -> Iterator[Bay]:
    """A job on the smallest trailer, two readings a shot, links up."""
    built = build_bay(tmp_path / "ledger")
    yield built
    built.ledger.close()


@pytest.fixture
def make_bay(tmp_path: Path) -> Iterator[Callable[..., Bay]]:
    """Build bays as asked; see ``build_bay``."""
    built: list[Bay] = []

    def make(**asked: Any) -> Bay:
        built.append(build_bay(tmp_path / f"ledger{len(built)}", **asked))
        return built[-1]

    yield make
    for one in built:
        one.ledger.close()


@pytest.fixture(scope="session")
def new_bay() -> Callable[..., contextlib.AbstractContextManager[Bay]]:
    """Build bays inside a property test: one an example, in a folder that goes when the example ends."""

    @contextlib.contextmanager
    def made(**asked: Any) -> Iterator[Bay]:
        with TemporaryDirectory() as folder:
            bay = build_bay(Path(folder) / "ledger", **asked)
            try:
                yield bay
            finally:
                bay.ledger.close()

    return made


@pytest.fixture(scope="session")
def short_layout() -> Layout:
    return parse_layout(SHORT_LAYOUT, path="short")


@pytest.fixture(scope="session")
def fleet_limits() -> LimitSheet:
    return load_limit_sheet("example-fleet")


@pytest.fixture
def threads_end() -> Iterator[None]:
    """Fail where a thread started in the test lives longer than it."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in threading.enumerate() if thread not in before]
    for thread in left:
        thread.join(3.0)
    assert [thread.name for thread in left if thread.is_alive()] == []
