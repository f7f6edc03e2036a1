"""Who is at a port, and where the same device is now.

Port names are given in the order of appearance, so a name says nothing about the device: what has USB ids is found
again by them, wherever it turns up, and never by its old name.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Protocol

from serial.tools import list_ports

from axledger_drivers.transports.address import transport_name_for

__all__ = ["ListPorts", "PortInfo", "find_again", "finder", "port_identity", "system_ports", "usb_id"]


class PortInfo(Protocol):
    """What the system says of one port."""

    @property
    def device(self) -> str:
        """Return the name to open."""
        ...

    @property
    def vid(self) -> int | None:
        """Return the USB vendor number."""
        ...

    @property
    def pid(self) -> int | None:
        """Return the USB product number."""
        ...

    @property
    def serial_number(self) -> str | None:
        """Return the adapter's serial number; cheap adapters have none."""
        ...

    @property
    def location(self) -> str | None:
        """Return the socket's position in the USB tree."""
        ...

    @property
    def description(self) -> str:
        """Return words for a person."""
        ...


ListPorts = Callable[[], Iterable[PortInfo]]


def system_ports() -> list[PortInfo]:
    """Return the serial ports of this computer."""
    return list(list_ports.comports())


def usb_id(info: PortInfo) -> str:
    """Return ``VID:PID`` in upper-case hex, empty where the port is no USB port."""
    return "" if info.vid is None or info.pid is None else f"{info.vid:04X}:{info.pid:04X}"


def port_identity(address: str, ports: Iterable[PortInfo]) -> dict[str, str]:
    """Return the identity of the port at ``address``: ``address``, and ``usb``, ``serial``, ``location`` if known.

    ``alone`` is ``yes`` where no other adapter looks alike (same ids, no serial number).
    """
    known = list(ports)
    identity = {"address": address}
    real = os.path.realpath(address)
    info = next((port for port in known if port.device == address or os.path.realpath(port.device) == real), None)
    if info is None or not usb_id(info):
        return identity
    identity["usb"] = usb_id(info)
    if info.serial_number:
        identity["serial"] = info.serial_number
    if info.location:
        identity["location"] = info.location
    if sum(usb_id(port) == usb_id(info) for port in known) == 1:
        identity["alone"] = "yes"
    return identity


def find_again(identity: Mapping[str, str], ports: Iterable[PortInfo]) -> str | None:
    """Return where the device with ``identity`` is now, or ``None``.

    With a serial number: that one only. Without one: the same socket, or the only adapter of its kind if it was the
    only one before; two that look alike are never told apart by guessing. Without USB ids: the same address, if it
    is there and has not become a USB port.
    """
    known = list(ports)
    if "usb" not in identity:
        return _same_address(identity.get("address", ""), known)
    alike = [port for port in known if usb_id(port) == identity["usb"]]
    if "serial" in identity:
        return next((port.device for port in alike if port.serial_number == identity["serial"]), None)
    alike = [port for port in alike if not port.serial_number]
    here = [port for port in alike if port.location and port.location == identity.get("location")]
    if here:
        return here[0].device
    return alike[0].device if len(alike) == 1 and "alone" in identity else None


def _same_address(address: str, ports: list[PortInfo]) -> str | None:
    if not address or transport_name_for(address) != "serial":
        return address or None
    listed = next((port for port in ports if port.device == address), None)
    if listed is not None:
        return None if usb_id(listed) else address
    return address if Path(address).exists() else None


def finder(ports: ListPorts = system_ports) -> Callable[[Mapping[str, str]], str | None]:
    """Return a function that finds a device again among the ports listed at that moment."""
    return lambda identity: find_again(identity, ports())
