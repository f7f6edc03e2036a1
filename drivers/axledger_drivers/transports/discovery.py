"""What can be reached from this computer, and which profiles it looks like.

A serial port tells its USB ids at most, a Bluetooth device its name and services; what it really is, only its bytes
can show. So every match is an offer for a person to confirm, and what matches nothing is listed too.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.uuids import normalize_uuid_str

from axledger.contract.profile import Profile
from axledger_drivers.transports.port_identity import ListPorts, PortInfo, port_identity, system_ports, usb_id
from axledger_drivers.transports.radio_trouble import RADIO_ERRORS, radio_trouble

__all__ = ["Candidate", "Listing", "list_candidates"]

Collect = Callable[[float], Awaitable[None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """Something that may be a device.

    ``title`` is what it says of itself, empty where it says nothing; ``profiles`` are the names of those that
    recognise it; ``signal_dbm`` is the strength of its radio, ``None`` for ports.
    """

    address: str
    title: str
    identity: Mapping[str, str]
    profiles: tuple[str, ...]
    signal_dbm: int | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """The candidates, and notes on what could not be looked at."""

    candidates: tuple[Candidate, ...]
    notes: tuple[str, ...]


def list_candidates(
    profiles: Sequence[Profile],
    *,
    list_ports: ListPorts = system_ports,
    extra_paths: Iterable[Path] = (),
    radio_s: float = 5.0,
    scanner: type[BaseBleakScanner] | None = None,
    collect: Collect = asyncio.sleep,
) -> Listing:
    """List serial ports, ports at or in ``extra_paths``, and what advertises within ``radio_s`` (0: no search).

    A missing or silent radio is a note, never an error. Not to be called where an event loop runs.
    """
    ports = list(list_ports())
    candidates = [_port(info, ports, profiles) for info in ports]
    candidates += [_path(path, profiles) for path in _paths(extra_paths)]
    notes: tuple[str, ...] = ()
    if radio_s > 0:
        try:
            heard = asyncio.run(_listen(radio_s, scanner, collect))
            candidates += [_device(device, data, profiles) for device, data in heard]
        except RADIO_ERRORS as error:
            trouble = radio_trouble("Bluetooth", error, scanning=True)
            notes = (f"{trouble.what}; {trouble.do}",)
    return Listing(tuple(candidates), notes)


def _port(info: PortInfo, ports: Sequence[PortInfo], profiles: Sequence[Profile]) -> Candidate:
    usb = usb_id(info)
    return Candidate(
        address=info.device,
        title="" if info.description == "n/a" else info.description,
        identity=port_identity(info.device, ports),
        profiles=tuple(profile.name for profile in profiles if _knows_port(profile, usb, info.device)),
    )


def _path(path: Path, profiles: Sequence[Profile]) -> Candidate:
    return Candidate(
        address=str(path),
        title=path.name,
        identity={"address": str(path)},
        profiles=tuple(profile.name for profile in profiles if _knows_port(profile, "", path.name)),
    )


def _paths(extra: Iterable[Path]) -> list[Path]:
    """Return the ports among ``extra``, folders opened one level deep; links to nothing are left out."""
    found: list[Path] = []
    for path in extra:
        found += sorted(path.iterdir()) if path.is_dir() else [path]
    return [path for path in found if path.is_char_device()]


def _device(device: BLEDevice, data: AdvertisementData, profiles: Sequence[Profile]) -> Candidate:
    name = data.local_name or device.name or ""
    address = f"gatt:{device.address}"
    return Candidate(
        address=address,
        title=name,
        identity={"address": address} | ({"name": name} if name else {}),
        profiles=tuple(profile.name for profile in profiles if _knows_device(profile, name, data.service_uuids)),
        signal_dbm=data.rssi,
    )


def _knows_port(profile: Profile, usb: str, name: str) -> bool:
    if "serial" not in profile.transports:
        return False
    if usb and usb in (known.upper() for known in profile.recognise.usb):
        return True
    return _knows_name(profile, Path(name).name)


def _knows_device(profile: Profile, name: str, services: Sequence[str]) -> bool:
    if "gatt" not in profile.transports:
        return False
    wanted = {normalize_uuid_str(service) for service in profile.recognise.services}
    return bool(wanted & {normalize_uuid_str(service) for service in services}) or _knows_name(profile, name)


def _knows_name(profile: Profile, name: str) -> bool:
    pattern = profile.recognise.name
    return pattern is not None and bool(name) and re.search(pattern, name) is not None


async def _listen(
    radio_s: float, scanner: type[BaseBleakScanner] | None, collect: Collect
) -> list[tuple[BLEDevice, AdvertisementData]]:
    """Hear for a while; a name that came once is kept, as it may be missing from the next advertisement."""
    heard: dict[str, tuple[BLEDevice, AdvertisementData]] = {}

    def hear(device: BLEDevice, data: AdvertisementData) -> None:
        before = heard.get(device.address)
        if before is not None:
            known = before[1]
            services = sorted({*known.service_uuids, *data.service_uuids})
            data = data._replace(local_name=data.local_name or known.local_name, service_uuids=services)
        heard[device.address] = (device, data)

    kind: BleakScanner.ExtraArgs = {"backend": scanner} if scanner else {}
    async with BleakScanner(hear, **kind):
        await collect(radio_s)
    return sorted(heard.values(), key=lambda pair: (-pair[1].rssi, pair[0].address))
