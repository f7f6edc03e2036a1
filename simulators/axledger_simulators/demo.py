"""A whole job with simulated devices and a simulated vehicle: real bytes, real ports, real ledger, real solver."""

from __future__ import annotations

import contextlib
import tempfile
import time
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.quantity import UNITS, from_si
from axledger.contract.transport import Clock, SystemClock
from axledger.job.fold import Happening, JobFold
from axledger.job.layout import Layout
from axledger.job.limits import LimitSheet
from axledger.job.opening import enrol, open_job
from axledger.job.plan import Chosen
from axledger.job.preparation import PREPARATION
from axledger.job.run import JobRun
from axledger.job.statements import results_of
from axledger.job.wiring import sources_of, supervisor_maker
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.clock import VirtualClock
from axledger_simulators.kit import Carrier, Kit, default_carrier
from axledger_simulators.slips import SlipKind, Slipping
from axledger_simulators.technician import Technician
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Demo", "DemoOutcome", "Pace", "Watch", "run_demo"]

Pace = Literal["fast", "real"]
Watch = Callable[[JobFold, list[Happening]], None]
_ANSWER_S = 10.0
_SETTLE_S = 5.0  # longer than any profile's backlog time: the technician does not shoot while the link comes up


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """What to simulate: the vehicle's layout, limits, the seed, and where the ledger stands."""

    layout: Layout
    limits: LimitSheet | None
    seed: int
    folder: Path
    pace: Pace = "fast"
    carrier: Carrier | None = None
    slip_rate: float = 0.02
    repeats: int = 2
    chosen: Chosen | None = None
    person: str = "simulated technician"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOutcome:
    """What came of it. ``results`` are JSON data with ``truth`` beside each value, in the result's unit."""

    job: str
    seed: int
    shots: int
    readings: int
    results: list[dict[str, Any]]
    counts: Mapping[str, int]
    entries: int
    head: str


def run_demo(demo: Demo, watch: Watch, finish: Callable[[Ledger, JobRun], None] | None = None) -> DemoOutcome:
    """Run a whole job and close it. ``watch`` sees every change; ``finish`` gets the closed job (for a report)."""
    clock: Clock = VirtualClock() if demo.pace == "fast" else SystemClock()
    with (
        tempfile.TemporaryDirectory(prefix="axledger-") as ports,
        Ledger.open(demo.folder) as ledger,
        _plugged(demo, Path(ports)) as kit,
    ):
        roles = {
            role: enrol(ledger, instrument, person=demo.person, stamp=clock.now())
            for role, instrument in kit.instruments(plates=_sweeps(demo)).items()
        }
        job = open_job(
            ledger,
            demo.layout,
            demo.limits,
            roles,
            stamp=clock.now(),
            person=demo.person,
            vehicle={"unit number": f"SIM-{demo.seed:04d}", "odometer": "0 km", "load": "empty (simulated)"},
            repeats=demo.repeats,
            name=_job_name(ledger, demo.seed),
            chosen=demo.chosen,
        )
        vehicle = SimulatedVehicle.build(demo.layout, demo.seed)
        run = JobRun(
            ledger, job, clock=clock, make_decoder=decoder_for,
            make_supervisor=supervisor_maker(clock, kit.keyboards()), person=demo.person, device="simulation",
        )  # fmt: skip
        technician = Technician(vehicle=vehicle, kit=kit, pause=_pause(clock), slipping=_slipping(demo))
        try:
            watch(run.fold, run.start(sources_of(run.fold)))
            _link_up(run, kit, clock, watch)
            watch(run.fold, run.act("tick", items=[item.id for item in PREPARATION], note="simulated"))
            _work(run, technician, watch)
            watch(run.fold, run.stop())
            watch(run.fold, run.close_job())
        finally:
            run.stop()
        if finish is not None:
            finish(ledger, run)
        return _outcome(demo, ledger, run.fold, vehicle)


def _job_name(ledger: Ledger, seed: int) -> str:
    taken = {entry.job for entry in ledger.entries(kinds={"job"})}
    return next(name for number in range(1, 100_000) if (name := f"demo-{seed}-{number}") not in taken)


@contextlib.contextmanager
def _plugged(demo: Demo, ports: Path) -> Generator[Kit]:
    kit = Kit.build(demo.seed, demo.carrier or default_carrier(), ports)
    try:
        yield kit
    finally:
        kit.close()


def _sweeps(demo: Demo) -> bool:
    return demo.chosen is not None and "sweep" in demo.chosen.parts


def _slipping(demo: Demo) -> Slipping | None:
    return Slipping(demo.seed, demo.slip_rate, (SlipKind.PAST_TARGET,)) if demo.slip_rate > 0 else None


def _pause(clock: Clock) -> Callable[[float], None]:
    if isinstance(clock, VirtualClock):
        virtual = clock
        return lambda seconds: void(virtual.advance(seconds))
    return lambda seconds: time.sleep(seconds / 10.0)  # a tenth of a person's time is still easy to watch


def void(_: object) -> None:
    """Drop a value."""


def _link_up(run: JobRun, kit: Kit, clock: Clock, watch: Watch) -> None:
    deadline = time.monotonic() + _ANSWER_S
    while len([link for link in run.fold.links.values() if link.state == "opened"]) < len(run.fold.instruments):
        watch(run.fold, run.pump(0.2))
        if time.monotonic() > deadline:
            raise _no_answer("the simulated devices did not come up")
    kit.meter_peer.listened(_ANSWER_S)
    kit.inclinometer_peer.listened(_ANSWER_S)
    if "plate" in run.fold.instruments:
        kit.plate_peer.listened(_ANSWER_S)
    if isinstance(clock, VirtualClock):
        clock.advance(_SETTLE_S)
    else:
        time.sleep(_SETTLE_S)


def _work(run: JobRun, technician: Technician, watch: Watch) -> None:
    while run.fold.current() is not None:
        before = len(run.fold.heard)
        technician.take(run.fold)
        deadline = time.monotonic() + _ANSWER_S
        while len(run.fold.heard) == before:
            if told := run.pump(0.5):
                watch(run.fold, told)
            if time.monotonic() > deadline:
                raise _no_answer("a simulated shot did not arrive")
        for number in technician.settle_held(run.fold):
            watch(run.fold, run.act("accept", reading=number, reason="aimed again, the same"))


def _no_answer(what: str) -> DeviceTrouble:
    return DeviceTrouble(
        what, cause=DeviceCause.SILENT, found=f"nothing for {_ANSWER_S:.0f} s", allowed="an answer at once",
        do="run the demo again; if it stays so, try --carrier socket", kept="everything up to here is in the ledger",
    )  # fmt: skip


def _outcome(demo: Demo, ledger: Ledger, fold: JobFold, vehicle: SimulatedVehicle) -> DemoOutcome:
    truth = vehicle.truth()
    results = [{**result, "truth": from_si(truth[result["key"]], UNITS[result["unit"]])} for result in results_of(fold)]
    head = ledger.head()
    return DemoOutcome(
        job=fold.job,
        seed=demo.seed,
        shots=len(fold.shots()),
        readings=len(fold.readings),
        results=results,
        counts=fold.counts(),
        entries=head.size,
        head=head.root,
    )
