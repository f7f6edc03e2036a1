"""A simulated far end without a wire: its bytes arrive as the events a link's supervisor would deliver.

It stands in for transport and supervisor alone: everything from the arrival of bytes on is the program's own. The
events come from the thread that calls ``send``, so nothing has to be waited for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Clock, LinkEvent, Lost, Opened, Recovered
from axledger_simulators.peers.peer import OnReceive

__all__ = ["DirectPort", "direct_supervisors"]

Sink = Callable[[LinkEvent], None]


class DirectPort:
    """Both ends of a link in one process: the device's (``send``) and the supervisor's (``start``, ``write``)."""

    def __init__(self, address: str, clock: Clock) -> None:
        self.on_receive: OnReceive | None = None
        self._address = address
        self._clock = clock
        self._sink: Sink | None = None
        self._plugged = True

    @property
    def address(self) -> str:
        """Return the address under which the tool reaches this peer."""
        return self._address

    def deliver_to(self, sink: Sink) -> DirectPort:
        """Deliver to ``sink`` from now on; return the port as the link's supervisor."""
        self._sink = sink
        return self

    def send(self, data: bytes) -> None:
        """Let bytes arrive now; with nobody there, or unplugged, they are lost, and no bytes are no arrival."""
        if data and self._plugged:
            self._tell(Arrived(self._clock.now(), data))

    def listened(self, timeout_s: float) -> bool:
        """Tell whether somebody listens; both ends are here, so there is nothing to wait for."""
        return self._sink is not None

    def unplug(self) -> None:
        """Take the device away."""
        self._plugged = False
        self._tell(Lost(self._clock.now(), "unplugged"))

    def plug(self) -> None:
        """Bring the device back."""
        self._plugged = True
        self._tell(Recovered(self._clock.now(), {}))

    def close(self) -> None:
        """Take the device away for good."""
        self._sink = None

    def start(self) -> None:
        """Open the link."""
        self._tell(Opened(self._clock.now(), {}))

    def write(self, data: bytes) -> None:
        """Hand what the tool sends to the device."""
        if self.on_receive is not None:
            self.on_receive(data)

    def stop(self) -> None:
        """End the link; calling it twice is harmless."""
        self._sink = None

    def _tell(self, event: LinkEvent) -> None:
        if self._sink is not None:
            self._sink(event)


def direct_supervisors(
    *ports: DirectPort,
) -> Callable[[str, Profile, Mapping[str, str], Sink], DirectPort]:
    """Return what a job's run builds its links with: the port of that address itself."""
    known = {port.address: port for port in ports}
    return lambda address, _profile, _identity, sink: known[address].deliver_to(sink)
