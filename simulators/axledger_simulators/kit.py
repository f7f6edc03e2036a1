"""A simulated kit: a meter and an inclinometer behind real peers, and their records as instruments."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger_simulators.inclinometer import Inclinometer
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.peers.peer import Peer
from axledger_simulators.peers.tcp_port import TcpPort
from axledger_simulators.peers.typed_port import TypedPort
from axledger_simulators.turning_plates import TurningPlates

__all__ = ["Carrier", "Kit", "default_carrier", "inclinometer_record", "meter_record", "plates_record"]

Carrier = Literal["pty", "socket"]
_NOTE = "simulated"


@dataclass(slots=True, kw_only=True)
class Kit:
    """A meter and an inclinometer, each with the peer that carries its bytes, and turning plates, which are typed."""

    meter: DistanceMeter
    inclinometer: Inclinometer
    meter_peer: Peer
    inclinometer_peer: Peer
    plates: TurningPlates = field(default_factory=lambda: TurningPlates(0))
    plate_peer: Peer = field(default_factory=TypedPort)

    @classmethod
    def build(
        cls, seed: int, carrier: Carrier, folder: Path, *, meter: DistanceMeter | None = None, first_port: int = 0
    ) -> Kit:
        """Draw the devices and plug them in.

        Ports of a pty carrier appear as links in ``folder``; a socket carrier listens at ``first_port`` and the
        one after it, or at any two free ports for 0. Raises ``DeviceTrouble`` where one cannot be had.
        """
        meter_peer = _peer(carrier, folder / "meter", first_port)
        try:
            inclinometer_peer = _peer(carrier, folder / "inclinometer", first_port and first_port + 1)
        except DeviceTrouble:
            meter_peer.close()
            raise
        return cls(
            meter=meter or DistanceMeter(seed, form="metre-line-fine"),
            inclinometer=Inclinometer(seed),
            meter_peer=meter_peer,
            inclinometer_peer=inclinometer_peer,
            plates=TurningPlates(seed),
        )

    def instruments(self, suffix: str = "", *, plates: bool = False) -> dict[str, Instrument]:
        """Return the records an owner of this kit would enrol, by role; the turning plates only where asked for."""
        known = {
            "meter": meter_record(
                f"sim-meter{suffix}",
                self.meter_peer.address,
                profile=self.meter.form.profile,
                repeatability_m=self.meter.repeatability_m,
                resolution_m=self.meter.form.resolution_m,
            ),
            "inclinometer": inclinometer_record(f"sim-inclinometer{suffix}", self.inclinometer_peer.address),
        }
        if plates:
            known["plate"] = plates_record(f"sim-plates{suffix}", self.plate_peer.address)
        return known

    def keyboards(self) -> Mapping[str, TypedPort]:
        """Return the sources of typed lines by address, for the links' supervisors."""
        return {self.plate_peer.address: self.plate_peer} if isinstance(self.plate_peer, TypedPort) else {}

    def close(self) -> None:
        """Unplug all for good."""
        self.meter_peer.close()
        self.inclinometer_peer.close()
        self.plate_peer.close()


def _peer(carrier: Carrier, link: Path, port: int) -> Peer:
    try:
        if carrier == "socket":
            return TcpPort(port=port)
        from axledger_simulators.peers.pty_port import PtyPort  # noqa: PLC0415 - exists on POSIX only

        return PtyPort(link)
    except OSError as error:
        where = f"port {port}" if carrier == "socket" else str(link)
        raise DeviceTrouble(
            f"{where} cannot be offered", cause=DeviceCause.BUSY, found=error.strerror or str(error),
            allowed="a place that no other program uses", do="name another one, or end the other simulation",
        ) from error  # fmt: skip


def default_carrier() -> Carrier:
    """Return what this system can carry: a pseudo-terminal on POSIX, else a loopback connection."""
    return "pty" if os.name == "posix" else "socket"


def meter_record(
    name: str, address: str, *, profile: str = "metre-line", repeatability_m: float = 0.0007,
    resolution_m: float = 0.0001,
) -> Instrument:  # fmt: skip
    """Return the record of a simulated distance meter whose zero is known to 1 mm."""
    return Instrument(
        name=name,
        serial="simulated",
        profile=profile,
        address=address,
        quantities={
            Quantity.LENGTH: QuantityRecord(
                repeatability=repeatability_m, resolution=resolution_m, u_zero=0.001, u_scale=0.0
            )
        },
        note=_NOTE,
    )


def inclinometer_record(name: str, address: str, *, profile: str = "tilt-line") -> Instrument:
    """Return the record of a simulated inclinometer: repeats to 0.02 degree, zero known to 0.05 degree."""
    return Instrument(
        name=name,
        serial="simulated",
        profile=profile,
        address=address,
        quantities={
            Quantity.INCLINATION: QuantityRecord(
                repeatability=math.radians(0.02), resolution=math.radians(0.01), u_zero=math.radians(0.05)
            )
        },
        note=_NOTE,
    )


def plates_record(name: str, address: str, *, profile: str = "typed") -> Instrument:
    """Return the record of simulated turning plates: read to 0.1 degree, each set to zero to 0.1 degree."""
    return Instrument(
        name=name,
        serial="simulated",
        profile=profile,
        address=address,
        quantities={
            Quantity.INCLINATION: QuantityRecord(
                repeatability=math.radians(0.1), resolution=math.radians(0.1), u_zero=math.radians(0.1)
            )
        },
        note=_NOTE,
    )
