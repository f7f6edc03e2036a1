"""The bay of a campaign: one ledger, one kit, one technician, job after job through the program's own path.

Bytes arrive at a run (``peers.direct_port`` stands in for transport and supervisor), become entries of a ledger, are
decoded, placed, solved and stated. Only the clock is virtual.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from axledger.job.at_once import slips_of_held
from axledger.job.findings import Finding
from axledger.job.layout import Layout
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.limits import LimitSheet
from axledger.job.opening import Enrolled, enrol, open_job
from axledger.job.plan import Chosen, Shot
from axledger.job.preparation import PREPARATION
from axledger.job.run import JobRun
from axledger.job.wiring import sources_of
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.at_limit import plant_at_limits
from axledger_simulators.blunders import Blunder, plant
from axledger_simulators.clock import VirtualClock
from axledger_simulators.demo import void
from axledger_simulators.enrolling import enrol_targets
from axledger_simulators.inclinometer import Inclinometer
from axledger_simulators.kit import Kit
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.peers.direct_port import DirectPort, direct_supervisors
from axledger_simulators.planting import PlantedFaults
from axledger_simulators.technician import Technician
from axledger_simulators.turning_plates import TurningPlates
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Bay", "JobDraw", "Walk", "layout_named"]

_SETTLE_S = 5.0  # longer than any profile's backlog time
_PERSON = "simulated technician"
_MOST_TRIES = 12
"""Readings of one shot after which it is skipped: a person gives up some time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobDraw:
    """What one job is to be: the ``place``-th of its ``row``, whose instruments and targets come from ``kit_seed``.

    ``enrolled``: targets were enrolled before the row. ``counted``: its results count. ``blunder``: the kind of slip
    to plant, or ``None``. ``mend``: work on the vehicle as advised, and measure again. ``layout_file`` takes the place
    of the shipped layout of that name.
    """

    number: int
    seed: int
    layout: str
    limits: str
    repeatability_m: float
    form: str
    repeats: int
    faults: PlantedFaults
    kit_seed: int
    row: int = 0
    place: int = 0
    enrolled: bool = False
    counted: bool = True
    chosen: Chosen = field(default_factory=Chosen)
    blunder: Blunder | None = None
    at_limit: bool = False
    mend: bool = False
    layout_file: Layout | None = None

    @property
    def plan(self) -> Layout:
        """Return the layout."""
        return self.layout_file or layout_named(self.layout)


class Bay:
    """A bay with a ledger and a kit, which stay from job to job."""

    def __init__(self, ledger: Ledger, first: JobDraw) -> None:
        """Set up for a row that begins with ``first``: instruments enrolled, and the targets where it says so."""
        self._ledger = ledger
        self.clock = VirtualClock()
        names = ("meter", "inclinometer", "plates")
        self._ports = [DirectPort(f"direct:{name}", self.clock) for name in names]
        self._kit = Kit(
            meter=DistanceMeter(first.kit_seed, form=first.form, repeatability_m=first.repeatability_m),
            inclinometer=Inclinometer(first.kit_seed),
            meter_peer=self._ports[0],
            inclinometer_peer=self._ports[1],
            plates=TurningPlates(first.kit_seed),
            plate_peer=self._ports[2],
        )
        self._roles: Mapping[str, Enrolled] = {
            role: enrol(ledger, one, person=_PERSON, stamp=self.clock.now())
            for role, one in self._kit.instruments(plates=True).items()
        }
        if first.enrolled:
            enrol_targets(
                ledger, first.plan, kit_seed=first.kit_seed, faults=first.faults, person=_PERSON,
                stamp=self.clock.now(),
            )  # fmt: skip

    def opened(self, draw: JobDraw) -> tuple[Walk, frozenset[str]]:
        """Open a job with its links up; return its walk, and the results whose truth is set to a limit."""
        limits = _limits(draw.limits)
        vehicle = _vehicle(draw)
        at_limit: frozenset[str] = frozenset()
        if draw.at_limit:
            at_limit = plant_at_limits(vehicle, limits, np.random.default_rng([draw.seed, 20]))
        run = self._run(draw, limits)
        planted = None
        if draw.blunder is not None:
            planted = plant(draw.blunder, vehicle, run.fold.shots(), np.random.default_rng([draw.seed, 21]))
        technician = Technician(
            vehicle=vehicle, kit=self._kit, pause=lambda seconds: void(self.clock.advance(seconds)), planted=planted,
            untouched=_vehicle(draw) if planted is not None else None,
        )  # fmt: skip
        return Walk(run, technician), at_limit

    def _run(self, draw: JobDraw, limits: LimitSheet) -> JobRun:
        roles = dict(self._roles)
        if "sweep" not in draw.chosen.parts:
            del roles["plate"]
        job = open_job(
            self._ledger, draw.plan, limits, roles, stamp=self.clock.now(), person=_PERSON,
            vehicle={"unit number": f"SIM-{draw.number}"}, repeats=draw.repeats, name=f"campaign-{draw.number}",
            chosen=draw.chosen,
        )  # fmt: skip
        run = JobRun(
            self._ledger, job, clock=self.clock, make_decoder=decoder_for,
            make_supervisor=direct_supervisors(*self._ports), person=_PERSON, device="simulation",
        )  # fmt: skip
        run.start(sources_of(run.fold))
        run.pump(0.0)
        self.clock.advance(_SETTLE_S)
        run.act("tick", items=[item.id for item in PREPARATION], note="simulated")
        return run


@cache
def layout_named(name: str) -> Layout:
    """Return a shipped layout; each is read once."""
    return load_layout(name)


@cache
def _limits(name: str) -> LimitSheet:
    return load_limit_sheet(name)


def _vehicle(draw: JobDraw) -> SimulatedVehicle:
    return SimulatedVehicle.build(draw.plan, draw.seed, faults=draw.faults, kit_seed=draw.kit_seed)


class Walk:
    """The walk through the plan. Who makes a planted slip stands by every reading; else a held one is shot again."""

    def __init__(self, run: JobRun, technician: Technician) -> None:
        self.run = run
        self.technician = technician
        self.held = 0
        self.said: dict[str, Sequence[Finding]] = {}
        self._tries: dict[str, int] = {}

    def whole(self) -> None:
        """Work until no shot is open."""
        while self.run.fold.current() is not None:
            self.step()

    def step(self) -> None:
        """Take one reading of the current shot, or give the shot up."""
        if (shot := self.run.fold.current()) is None:
            return
        self._tries[shot.id] = self._tries.get(shot.id, 0) + 1
        if self._tries[shot.id] > _MOST_TRIES:
            self.run.act("skip", shot=shot.id)
            return
        self.technician.take(self.run.fold)
        self.run.pump(0.0)
        newest = len(self.run.fold.readings)
        if self.run.fold.board.places[newest].state == "held":
            self.held += 1
            self._held(shot, newest)

    def follow(self, finding: Finding) -> None:
        """Take a finding's cure, from now on without the planted slip, and work on until no shot is open."""
        self.technician.planted = None
        self.run.act(finding.cure.act, **finding.cure.arguments)
        self.again()

    def again(self) -> None:
        """Work on what is open now, with fresh patience."""
        self._tries.clear()
        self.whole()

    def _held(self, shot: Shot, newest: int) -> None:
        planted = self.technician.planted
        if (planted is None or shot.id not in planted.instead) and not self.technician.sees(shot):
            # told that something is wrong, a person looks for the dot, and finds it on a tyre
            self.run.act("blocked", shot=shot.id)
            return
        if planted is None:
            for number in self.technician.settle_held(self.run.fold):
                self.run.act("accept", reading=number, reason="aimed again, the same")
            return
        if self._tries[shot.id] == 1:
            self.said[shot.id] = slips_of_held(self.run.fold, newest)
        self.run.act("accept", reading=newest, reason="sure of it")
