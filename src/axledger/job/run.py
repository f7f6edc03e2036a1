"""The live run: events of the links become entries, entries become state. Facts first.

An arrival is durable before it is decoded, shown or acknowledged. A burst shares one commit; a lone arrival
never waits for company.
"""

from __future__ import annotations

import contextlib
import queue
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from axledger.contract.decoder import Decoder
from axledger.contract.errors import AxledgerError, DeviceCause, DeviceTrouble, Refused
from axledger.contract.frame import Measured
from axledger.contract.profile import Profile, parse_profile
from axledger.contract.transport import Arrived, Clock, LinkEvent, Lost, Opened, Recovered, Silent, Stamp
from axledger.job import facts
from axledger.job.acts import perform
from axledger.job.digest import checkpoint_body
from axledger.job.fold import Happening, JobFold
from axledger.job.opening import fold_job
from axledger.job.plan import role_of
from axledger.job.statements import statement_body
from axledger.ledger import Ledger

__all__ = ["JobRun", "LinkSource", "Told"]


class Supervised(Protocol):
    """What the run needs of a link's supervisor."""

    def start(self) -> None:
        """Begin to open and watch the link."""
        ...

    def write(self, data: bytes) -> None:
        """Send bytes to the device."""
        ...

    def stop(self) -> Any:
        """End the link."""
        ...


MakeSupervisor = Callable[[str, Profile, Mapping[str, str], Callable[[LinkEvent], None]], Supervised]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSource:
    """A device to listen to: its ``role``, instrument name, address, profile text and known identity."""

    role: str
    instrument: str
    address: str
    profile_text: str
    identity: Mapping[str, str]


@dataclass(slots=True)
class _Live:
    source: LinkSource
    link: str
    profile: Profile
    supervisor: Supervised
    arrivals: int = 0


Told = list[Happening]

_BURST = 32
"""Most events in one commit: enough to make commits cheap, few enough that a key pressed meanwhile is soon heard."""


class JobRun:
    """One job being worked on: the ledger's writer, the links, and the fold fed by both.

    ``pump`` and ``act`` belong to one thread; links deliver from their own threads into a queue.
    """

    def __init__(
        self, ledger: Ledger, job: str, *, clock: Clock, make_decoder: Callable[[Profile], Decoder],
        make_supervisor: MakeSupervisor, person: str, device: str = "terminal",
    ) -> None:  # fmt: skip
        self._ledger = ledger
        self._clock = clock
        self._make_supervisor = make_supervisor
        self.person = person
        self.device = device
        self.fold: JobFold = fold_job(ledger, job, make_decoder)
        self._events: queue.SimpleQueue[tuple[str, LinkEvent]] = queue.SimpleQueue()
        self._live: dict[str, _Live] = {}
        self._waiting: list[facts.Body] = []
        self._kept: Told = []

    def start(self, sources: list[LinkSource]) -> Told:
        """Open the links; close in the record those that an earlier run left open."""
        stale = [
            facts.link(name, "closed", self._clock.now(), job=self.fold.job, why="the program had ended")
            for name, link in self.fold.links.items()
            if link.state not in ("closed", "lost")
        ]
        records = [facts.profile_record(source.profile_text) for source in sources]
        told = self._append([*stale, *records])
        for number, source in enumerate(sources, start=1):
            link = f"{self.fold.job}-{self._ledger.head().size}-{number}"
            profile = parse_profile(source.profile_text, path=f"profile of {source.instrument}")
            self._live[link] = _Live(
                source=source,
                link=link,
                profile=profile,
                supervisor=self._make_supervisor(source.address, profile, source.identity, self._sink(link)),
            )
            self._live[link].supervisor.start()
        return told

    def _sink(self, link: str) -> Callable[[LinkEvent], None]:
        return lambda event: self._events.put((link, event))

    def pump(self, timeout_s: float) -> Told:
        """Take what the links delivered, waiting up to ``timeout_s`` for the first event; fold it.

        Raises ``StorageTrouble`` where it cannot be stored; it is kept then, unacknowledged and not shown, and the
        next call tries again.
        """
        before = self._clock.now()
        self._waiting += [self._body(self._live[link], event) for link, event in self._burst(timeout_s)]
        marks, kept = len(self.fold.heard), self._kept
        self._kept = []
        # without arrivals only up to before the wait: what was stamped by then has reached the queue, so no gap is
        # called early
        told = self._write() if self._waiting else self.fold.quiet(before.mono_ns)
        return kept + told + self._acknowledge(marks)

    def _write(self) -> Told:
        entries = self._ledger.append(self._waiting)
        self._waiting = []
        return [told for entry in entries for told in self.fold.apply(entry)]

    def _burst(self, timeout_s: float) -> list[tuple[str, LinkEvent]]:
        try:
            burst = [self._events.get(timeout=timeout_s) if timeout_s > 0 else self._events.get_nowait()]
        except queue.Empty:
            return []
        while len(burst) < _BURST:
            try:
                burst.append(self._events.get_nowait())
            except queue.Empty:
                break
        return burst

    def _append(self, bodies: list[facts.Body]) -> Told:
        return [told for entry in self._ledger.append(bodies) for told in self.fold.apply(entry)] if bodies else []

    def _body(self, live: _Live, event: LinkEvent) -> facts.Body:
        job, source = self.fold.job, live.source
        if isinstance(event, Arrived):
            live.arrivals += 1
            return facts.arrival(live.link, live.arrivals, event.data, event.stamp, job=job, channel=event.channel)
        names = {Opened: "opened", Recovered: "recovered", Lost: "lost", Silent: "silent"}
        return facts.link(
            live.link,
            names[type(event)],
            event.stamp,
            job=job,
            role=source.role,
            instrument=source.instrument,
            profile=facts.profile_record(source.profile_text)["digest"],
            address=source.address,
            identity=event.identity if isinstance(event, Opened | Recovered) else None,
            why=event.why if isinstance(event, Lost) else "",
        )

    def _acknowledge(self, marks: int) -> Told:
        """Tell devices that wait for it that their measurement is safe; it is, the entry is durable."""
        told: Told = []
        while marks < len(self.fold.heard):  # what is sent is an entry, and its moment may end another frame
            heard = self.fold.heard[marks]
            marks += 1
            live = self._live.get(heard.link)
            if live is not None and live.profile.acknowledge and isinstance(heard.frame.outcome, Measured):
                with contextlib.suppress(DeviceTrouble):  # the device sends again, and the repeat is acknowledged
                    told += self._send(live, live.profile.acknowledge.reply.encode("latin-1"))
        return told

    def _send(self, live: _Live, data: bytes) -> Told:
        live.arrivals += 1
        told = self._append(
            [facts.arrival(live.link, live.arrivals, data, self._clock.now(), job=self.fold.job, sent=True)]
        )
        live.supervisor.write(data)
        return told

    def measure(self) -> Told:
        """Ask the instrument of the current shot for a reading, where its profile has a command for that."""
        shot = self.fold.current()
        role = "meter" if shot is None else role_of(shot)
        name = self.fold.instruments[role].name if role in self.fold.instruments else ""
        # by instrument: a device in two roles has one link
        live = next((live for live in self._live.values() if live.source.instrument == name), None)
        if live is None or live.link not in self.fold.links:
            raise DeviceTrouble(
                f"the {role} is not linked", cause=DeviceCause.LOST, found="no open link",
                allowed="a link that is up", do="wait for the link, or press the device's own button",
            )  # fmt: skip
        command = live.profile.commands.measure
        if command is None:
            raise Refused(
                f"{live.source.instrument} takes no command", found=f"profile {live.profile.name}",
                allowed="a profile with a measure command", do="press the button on the device",
            )  # fmt: skip
        return self._send(live, command.encode("latin-1"))

    def act(self, name: str, **arguments: Any) -> Told:
        """Do what a person asked: checked first, then written, then folded. Raises what ``perform`` raises.

        What had arrived by then comes first: the person acted on it, or at least after it.
        """
        now, told = self._up_to_now()
        body = facts.act(self.fold.job, name, now, person=self.person, device=self.device, **arguments)
        try:
            perform(self.fold, body)
        except AxledgerError:
            self._kept += told  # what was folded on the way is still to be shown
            raise
        return told + self._append([body])

    def _up_to_now(self) -> tuple[Stamp, Told]:
        """Bring the fold to where replay will have it when it meets an entry of this moment; return the moment."""
        while burst := self._burst(0.0):
            self._waiting += [self._body(self._live[link], event) for link, event in burst]
        now, marks = self._clock.now(), len(self.fold.heard)
        told = (self._write() if self._waiting else []) + self.fold.quiet(now.mono_ns)
        return now, told + self._acknowledge(marks)

    def close_job(self) -> Told:
        """Write the job's statement; raise ``Refused`` where it is closed already."""
        now, told = self._up_to_now()
        body = statement_body(self.fold, self._ledger.head(), person=self.person, stamp=now)
        told += self._append([body])
        self._ledger.write_head()
        return told

    def stop(self) -> Told:
        """End the links, take what they had still delivered, and record the end."""
        for live in self._live.values():
            live.supervisor.stop()
        while burst := self._burst(0.0):
            self._waiting += [self._body(self._live[link], event) for link, event in burst]
        told = self._write()
        closing = [
            facts.link(live.link, "closed", self._clock.now(), job=self.fold.job, why="ended")
            for live in self._live.values()
            if live.link in self.fold.links
        ]
        if not self._live:
            return told
        self._live.clear()
        told += self._append(closing)
        now, more = self._up_to_now()
        return told + more + self._append([dict(checkpoint_body(self.fold, now))])
