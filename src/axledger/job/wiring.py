"""Wire a job's instruments to real transports: what the live run and ``listen`` are started with."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from axledger.contract.instrument import Instrument
from axledger.contract.profile import Profile
from axledger.contract.transport import Clock, LinkEvent, Lost, Opened, Transport
from axledger.job.fold import JobFold
from axledger.job.run import LinkSource
from axledger_drivers.registry import profile_text, transport_class
from axledger_drivers.supervisor import LinkSupervisor
from axledger_drivers.transports.address import transport_name_for
from axledger_drivers.transports.port_identity import finder
from axledger_drivers.transports.typed import LineSource
from axledger_drivers.trouble_count import Trouble

__all__ = ["sources_of", "supervisor_maker"]

Sink = Callable[[LinkEvent], None]


@dataclass(slots=True)
class _Door:
    """Hands events on; a trouble of a link that was never up becomes a loss, so that somebody hears of it.

    Once it was up, the supervisor tells of losses itself. Both methods are called from the supervisor's thread.
    """

    clock: Clock
    sink: Sink
    _was_up: bool = False
    _told: set[str] = field(default_factory=set[str])

    def take(self, event: LinkEvent) -> None:
        """Hand ``event`` on."""
        self._was_up = self._was_up or isinstance(event, Opened)
        self.sink(event)

    def trouble(self, trouble: Trouble) -> None:
        """Tell of a trouble before the first opening, each kind once."""
        error = trouble.error
        if self._was_up or error.what in self._told:
            return
        self._told.add(error.what)
        self.sink(Lost(self.clock.now(), f"{error.what}: {error.found}; {error.do}"))


def supervisor_maker(
    clock: Clock, typed: Mapping[str, LineSource] | None = None
) -> Callable[[str, Profile, Mapping[str, str], Sink], LinkSupervisor]:
    """Return what builds a link's supervisor over the registered transports.

    ``typed`` maps addresses of typed instruments to the streams their lines come from. A link that never was up tells
    ``Lost`` once for each trouble on its way. What builds a link raises
    ``BadInput`` or ``UnknownName`` for an address of unknown form.
    """
    streams = typed or {}

    def open_transport(address: str, profile: Profile, timer: Clock) -> Transport:
        more = {"stream": streams[address]} if address in streams else {}
        return transport_class(transport_name_for(address))(address, profile, timer, **more)

    def make(address: str, profile: Profile, identity: Mapping[str, str], sink: Sink) -> LinkSupervisor:
        transport_class(transport_name_for(address))  # an unknown form is a fault of the address, not of the link
        door = _Door(clock, sink)
        return LinkSupervisor(
            address, profile, clock, door.take, make_transport=open_transport, find=finder(), identity=identity,
            report=door.trouble,
        )  # fmt: skip

    return make


def sources_of(
    fold: JobFold, extra_profiles: Sequence[Path] = (), newest: Mapping[str, Instrument] | None = None
) -> list[LinkSource]:
    """Return the links a job's instruments ask for; one device in two roles is one link.

    ``newest`` holds the newest records by name: where a device is reached may have changed since the job was opened,
    while what is known of its errors stays as the job's own record says.
    """
    sources: dict[str, LinkSource] = {}
    for role, instrument in fold.instruments.items():
        if instrument.name not in sources:
            sources[instrument.name] = LinkSource(
                role=role,
                instrument=instrument.name,
                address=(newest or {}).get(instrument.name, instrument).address,
                profile_text=profile_text(instrument.profile, extra_profiles),
                identity=instrument.identity,
            )
    return list(sources.values())
