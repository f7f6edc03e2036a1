"""Bluetooth LE without a radio: devices in memory, reached through bleak's own front end.

``make_backends(world)`` gives the two classes that bleak takes in place of the system's. Everything else of bleak
is the real thing. Peers may be driven from any thread; what they do happens in the event loop of the client.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from functools import partial
from typing import Any

from bleak.args import SizedBuffer
from bleak.assigned_numbers import CharacteristicPropertyName
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakDeviceNotFoundError, BleakError
from bleak.uuids import normalize_uuid_str

from axledger.contract.profile import GattChannel
from axledger_simulators.peers.peer import OnReceive

__all__ = ["GattPeer", "GattWorld", "make_backends"]

_ADVERTISE_S = 0.02  # devices repeat themselves; a single advertisement could be missed by one who just begins


class GattWorld:
    """The air of a simulation: who is there, and what is wrong with the radio (``fault``, raised when scanning)."""

    def __init__(self) -> None:
        self.peers: dict[str, GattPeer] = {}
        self.fault: Exception | None = None


class GattPeer:
    """One device with one text channel, advertising from the start.

    ``mtu`` cuts notifications to ``mtu - 3`` bytes, as a link does. ``refuse_connections`` and
    ``refuse_subscriptions`` are how many of the next attempts fail. ``name`` may be empty, as in the first
    advertisement of many devices.
    """

    def __init__(
        self,
        world: GattWorld,
        address: str,
        channel: GattChannel,
        *,
        name: str = "",
        rssi: int = -60,
        mtu: int = 23,
        on_receive: OnReceive | None = None,
    ) -> None:
        self.bare_address = address
        self.channel = channel
        self.name = name
        self.rssi = rssi
        self.mtu = mtu
        self.on_receive = on_receive
        self.refuse_connections = 0
        self.refuse_subscriptions = 0
        self.advertising = True
        self._lock = threading.Lock()
        self._client: _PeerClient | None = None
        self._subscribed = threading.Event()
        world.peers[address] = self

    @property
    def address(self) -> str:
        """Return ``gatt:ADDRESS``."""
        return f"gatt:{self.bare_address}"

    def listened(self, timeout_s: float) -> bool:
        """Wait until somebody has subscribed; tell whether that is so."""
        return self._subscribed.wait(timeout_s)

    def send(self, data: bytes) -> None:
        """Notify the subscriber in pieces of ``mtu - 3`` bytes; with none there the bytes are lost."""
        size = self.mtu - 3
        for start in range(0, len(data), size):
            self._hop(partial(_PeerClient.notify, data=data[start : start + size]))

    def drop(self) -> None:
        """Break the connection and go on advertising."""
        self._hop(_PeerClient.lose)

    def unplug(self) -> None:
        """Go out of reach."""
        self.advertising = False
        self.drop()

    def plug(self) -> None:
        """Come back into reach."""
        self.advertising = True

    def close(self) -> None:
        """Go out of reach for good."""
        self.unplug()

    def taken_by(self, client: _PeerClient) -> None:
        """Take a connection; one that never was let go counts no more."""
        with self._lock:
            self._client = client

    def subscribed(self) -> None:
        """Take note of a subscription."""
        self._subscribed.set()

    def freed_by(self, client: _PeerClient) -> None:
        """Take note that a client is gone."""
        with self._lock:
            if self._client is client:
                self._client = None
                self._subscribed.clear()

    def received(self, data: bytes) -> None:
        """Hand on what the tool has written."""
        if self.on_receive is not None:
            self.on_receive(data)

    def _hop(self, act: Callable[[_PeerClient], None]) -> None:
        """Do ``act`` in the client's event loop."""
        with self._lock:
            client = self._client
        if client is not None and not client.loop.is_closed():
            client.loop.call_soon_threadsafe(act, client)


class _PeerScanner(BaseBleakScanner):
    """A scanner that hears the peers of a world; the names of its parameters are bleak's."""

    world: GattWorld

    def __init__(
        self,
        detection_callback: AdvertisementDataCallback | None,
        service_uuids: list[str] | None,
        scanning_mode: str,
        **kwargs: Any,
    ) -> None:
        super().__init__(detection_callback, service_uuids)
        self._timer: asyncio.TimerHandle | None = None

    async def start(self) -> None:
        """Begin to hear."""
        if self.world.fault is not None:
            raise self.world.fault
        self.seen_devices.clear()
        self._hear()

    async def stop(self) -> None:
        """Hear no more."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _hear(self) -> None:
        for peer in list(self.world.peers.values()):
            if peer.advertising:
                self._heard(peer)
        self._timer = asyncio.get_running_loop().call_later(_ADVERTISE_S, self._hear)

    def _heard(self, peer: GattPeer) -> None:
        services = [normalize_uuid_str(peer.channel.service)]
        name = peer.name or None
        data = AdvertisementData(name, {}, {}, services, None, peer.rssi, ())
        if self.is_allowed_uuid(services):
            address = peer.bare_address
            self.call_detection_callbacks(self.create_or_update_device(address, address, name, peer, data), data)


class _PeerClient(BaseBleakClient):
    """A connection to one peer."""

    def __init__(
        self,
        address_or_ble_device: BLEDevice | str,
        *,
        disconnected_callback: Callable[[], None] | None,
        timeout: float,
        **kwargs: Any,
    ) -> None:
        super().__init__(address_or_ble_device, disconnected_callback=disconnected_callback, timeout=timeout)
        self._peer = self._peer_of(address_or_ble_device)
        self._connected = False
        self._handlers: dict[int, NotifyCallback] = {}
        self.loop: asyncio.AbstractEventLoop

    def _peer_of(self, device: BLEDevice | str) -> GattPeer | None:
        return None if isinstance(device, str) else device.details

    @property
    def name(self) -> str:
        """Return the peer's name."""
        return self._peer.name if self._peer is not None else ""

    @property
    def mtu_size(self) -> int:
        """Return 23 whatever the link can do, as one real system does."""
        return 23

    @property
    def is_connected(self) -> bool:
        """Tell whether the connection stands."""
        return self._connected

    async def connect(self, pair: bool, **kwargs: Any) -> None:
        """Connect and publish the services."""
        peer = self._peer
        if peer is None or not peer.advertising:
            raise BleakDeviceNotFoundError(self.address)
        if peer.refuse_connections > 0:
            peer.refuse_connections -= 1
            raise BleakError("connection refused by the device")
        self.loop = asyncio.get_running_loop()
        self.services = _services(peer)
        self._connected = True
        peer.taken_by(self)

    async def disconnect(self) -> None:
        """Let go; as with the real ones, the callback comes for this too."""
        self.lose()

    def lose(self) -> None:
        """End the connection and every subscription with it."""
        if not self._connected:
            return
        self._connected = False
        self.services = None
        self._handlers.clear()
        if self._peer is not None:
            self._peer.freed_by(self)
        if self._disconnected_callback is not None:
            self._disconnected_callback()

    def notify(self, data: bytes) -> None:
        """Deliver one notification to whoever subscribed on this connection."""
        for handler in list(self._handlers.values()):
            handler(bytearray(data))

    async def pair(self, *args: Any, **kwargs: Any) -> None:
        """Pair; nothing is needed for it here."""

    async def unpair(self) -> None:
        """Forget a pairing; nothing is needed for it here."""

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        """Refuse: a text channel has no value to read."""
        raise BleakError("read not permitted")

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        """Refuse: there are no descriptors."""
        raise BleakError("read not permitted")

    async def write_gatt_char(self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool) -> None:
        """Hand the bytes to the peer."""
        if not self._connected or self._peer is None:
            raise BleakError("not connected")
        self._peer.received(bytes(data))

    async def write_gatt_descriptor(self, descriptor: BleakGATTDescriptor, data: SizedBuffer) -> None:
        """Refuse: there are no descriptors."""
        raise BleakError("write not permitted")

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **kwargs: Any
    ) -> None:
        """Subscribe on this connection."""
        peer = self._peer
        if peer is None or not self._connected:
            raise BleakError("not connected")
        if peer.refuse_subscriptions > 0:
            peer.refuse_subscriptions -= 1
            raise BleakError("notifications already started")
        self._handlers[characteristic.handle] = callback
        peer.subscribed()

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        """Unsubscribe."""
        self._handlers.pop(characteristic.handle, None)


def _services(peer: GattPeer) -> BleakGATTServiceCollection:
    channel = peer.channel
    notify, write = normalize_uuid_str(channel.notify), normalize_uuid_str(channel.write or channel.notify)
    properties: dict[str, list[CharacteristicPropertyName]] = {notify: ["notify"]}
    if channel.write is not None:
        properties.setdefault(write, []).append("write")
    collection = BleakGATTServiceCollection()
    service = BleakGATTService(None, 1, normalize_uuid_str(channel.service))
    collection.add_service(service)
    for handle, (uuid, names) in enumerate(properties.items(), start=2):
        collection.add_characteristic(BleakGATTCharacteristic(None, handle, uuid, names, lambda: peer.mtu - 3, service))
    return collection


def make_backends(world: GattWorld) -> tuple[type[BaseBleakScanner], type[BaseBleakClient]]:
    """Return the scanner and client classes of ``world``; bleak builds the instances itself."""
    return type("WorldScanner", (_PeerScanner,), {"world": world}), _PeerClient
