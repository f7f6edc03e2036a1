"""Bluetooth LE: a text stream over one GATT characteristic, in an event loop of its own thread.

Notifications are handed on as they come. A notification of exactly the packet's size may be a cut one, so what is a
line is for the decoder to say. A subscribed characteristic is never read, as some systems deliver the answer as one
more notification, which would be a reading nobody took.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Coroutine, Mapping
from concurrent.futures import CancelledError, Future
from typing import Any

from bleak import BleakClient, BleakScanner
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import BaseBleakScanner
from bleak.exc import BleakError
from bleak.uuids import normalize_uuid_str

from axledger.contract.errors import BadInput, DeviceCause, DeviceTrouble
from axledger.contract.profile import GattChannel, Profile
from axledger.contract.transport import Arrived, Clock, Lost, Sink
from axledger_drivers.transports.address import part_after
from axledger_drivers.transports.radio_trouble import RADIO_ERRORS, not_advertising, radio_lost, radio_trouble

__all__ = ["GattTransport"]

_TRIES = 3  # some systems forget a device the moment the search ends; common practice, no source
_WRITE_S = 2.0
_CLOSE_S = 2.0


class GattTransport:
    """One connection to ``gatt:ADDRESS``.

    ``scanner`` and ``client`` are bleak backend classes, the system's own unless given. ``search_s`` bounds one
    search, ``connect_s`` one connection.
    """

    def __init__(
        self,
        address: str,
        profile: Profile,
        clock: Clock,
        *,
        scanner: type[BaseBleakScanner] | None = None,
        client: type[BaseBleakClient] | None = None,
        search_s: float = 10.0,
        connect_s: float = 15.0,
    ) -> None:
        if profile.gatt is None:
            raise BadInput(
                f"profile {profile.name} cannot be used with {address}",
                found="no table [gatt]",
                allowed="a profile with the table [gatt]",
                do="choose another profile, or add the table",
            )
        self._device_address = part_after("gatt", address)
        self._address = address
        self._channel = profile.gatt
        self._clock = clock
        self._backends = (scanner, client)
        self._limits_s = (search_s, connect_s)
        self._thread: threading.Thread | None = None
        self._link: _Link | None = None
        self._closed = False

    def open(self, sink: Sink) -> Mapping[str, str]:
        """Search, connect and subscribe; return the identity once the subscription stands.

        Raises ``DeviceTrouble``. Notifications may reach ``sink`` before this returns.
        """
        opened: Future[Mapping[str, str]] = Future()
        self._link = _Link(self._address, self._clock, sink)
        if self._closed:  # closed by another thread before it got here
            self._link.end()
        thread = threading.Thread(
            target=self._run, args=(self._link, opened), name=f"axledger radio {self._address}", daemon=True
        )
        thread.start()
        self._thread = thread  # only now, as another thread that closes may join it
        try:
            return opened.result()
        except DeviceTrouble:
            thread.join(_CLOSE_S)
            raise

    def write(self, data: bytes) -> None:
        """Send ``data`` to the profile's write characteristic; raise ``DeviceTrouble`` when it cannot leave.

        Not to be called from within ``sink``, which runs in the thread that would have to send.
        """
        link = self._link
        if link is None or link.client is None or link.loop is None or self._channel.write is None:
            raise radio_lost(self._address)
        try:
            _call(_send(link.client, self._channel.write, data), link.loop, _WRITE_S)
        except (*RADIO_ERRORS, RuntimeError, CancelledError) as error:  # the last two: the loop ends just now
            raise radio_lost(self._address, error) from error

    def reader_alive(self) -> bool:
        """Tell whether the radio's thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def close(self) -> None:
        """Disconnect within two seconds, or cut the opening short; calling it twice is harmless."""
        self._closed = True
        if self._link is not None:
            self._link.end()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(_CLOSE_S)

    def _run(self, link: _Link, opened: Future[Mapping[str, str]]) -> None:
        try:
            asyncio.run(self._serve(link, opened))
        except Exception as error:  # whatever ends the thread has to be seen
            if not opened.done():
                opened.set_exception(radio_trouble(self._address, error, scanning=True))
            else:
                link.lost(str(error) or type(error).__name__)

    async def _serve(self, link: _Link, opened: Future[Mapping[str, str]]) -> None:
        link.begin()
        connecting = asyncio.ensure_future(self._connect(link))
        ending = asyncio.ensure_future(link.ended.wait())
        await asyncio.wait({connecting, ending}, return_when=asyncio.FIRST_COMPLETED)
        try:
            if not connecting.done():
                connecting.cancel()
            opened.set_result(await connecting)
            await ending
        except DeviceTrouble as trouble:
            opened.set_exception(trouble)
        except asyncio.CancelledError:
            opened.set_exception(radio_lost(self._address))
        finally:
            ending.cancel()
            await _let_go(link.client)

    async def _connect(self, link: _Link) -> Mapping[str, str]:
        """Try a few times, each with a new search and a new client, so that no old subscription lives on."""
        trouble = radio_lost(self._address)
        for _ in range(_TRIES):
            device = await self._search()
            try:
                return await self._subscribe(link, device)
            except RADIO_ERRORS as error:
                await _let_go(link.client)
                link.client = None
                trouble = radio_trouble(self._address, error, scanning=False)
                trouble.__cause__ = error
                if trouble.cause is DeviceCause.DENIED:
                    break
        raise trouble

    async def _search(self) -> BLEDevice:
        backend, limit_s = self._backends[0], self._limits_s[0]
        try:
            kind: BleakScanner.ExtraArgs = {"backend": backend} if backend else {}
            device = await BleakScanner.find_device_by_address(self._device_address, timeout=limit_s, **kind)
        except RADIO_ERRORS as error:
            raise radio_trouble(self._address, error, scanning=True) from error
        if device is None:
            raise not_advertising(self._address, found=f"nothing from it in {limit_s:g} s")
        return device

    async def _subscribe(self, link: _Link, device: BLEDevice) -> Mapping[str, str]:
        limit_s = self._limits_s[1]
        client = BleakClient(device, link.disconnected, timeout=limit_s, backend=self._backends[1])
        link.client = client
        await asyncio.wait_for(client.connect(), limit_s)
        characteristic = _characteristic(client, self._channel)
        await asyncio.wait_for(client.start_notify(characteristic, link.notified), limit_s)
        if link.client is not client or not client.is_connected:
            raise BleakError("the device let go while subscribing")
        link.up = True
        # The connection's own MTU figure is wrong on some systems; this one is right on all.
        identity = {"address": self._address, "payload_bytes": str(characteristic.max_write_without_response_size)}
        return identity | ({"name": device.name} if device.name else {})


class _Link:
    """What the radio's thread and the others share about one connection."""

    def __init__(self, address: str, clock: Clock, sink: Sink) -> None:
        self._address = address
        self._clock = clock
        self._sink = sink
        self._unwanted = False
        self.up = False
        self.client: BleakClient | None = None
        self.loop: asyncio.AbstractEventLoop | None = None
        self.ended: asyncio.Event

    def begin(self) -> None:
        """Take hold of the running loop."""
        self.ended = asyncio.Event()
        self.loop = asyncio.get_running_loop()
        if self._unwanted:
            self.ended.set()

    def end(self) -> None:
        """End the connection; from any thread, also before the loop runs."""
        self._unwanted = True
        if self.loop is not None:
            with contextlib.suppress(RuntimeError):  # the loop ended by itself already
                self.loop.call_soon_threadsafe(self.ended.set)

    def notified(self, characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
        """Hand on one notification."""
        if not self.ended.is_set():
            self._sink(Arrived(self._clock.now(), bytes(data), characteristic.uuid))

    def disconnected(self, client: BleakClient) -> None:
        """Take note that a connection ended; while connecting, the attempt itself notices."""
        if self.up and client is self.client:
            self.lost(f"{self._address}: the device or the radio ended the connection")

    def lost(self, why: str) -> None:
        """Deliver one ``Lost``, unless the end was wanted."""
        if not self.ended.is_set() and not self._unwanted:
            self._sink(Lost(self._clock.now(), why))
        self.ended.set()


def _characteristic(client: BleakClient, channel: GattChannel) -> BleakGATTCharacteristic:
    """Find the notifying characteristic within the profile's service, as its UUID may occur twice."""
    service = client.services.get_service(normalize_uuid_str(channel.service))
    found = service.get_characteristic(channel.notify) if service is not None else None
    if found is None:
        raise BleakError(f"the device has no characteristic {channel.notify} in service {channel.service}")
    return found


async def _send(client: BleakClient, uuid: str, data: bytes) -> None:
    characteristic = client.services.get_characteristic(uuid)
    if characteristic is None:
        raise BleakError(f"the device has no characteristic {uuid}")
    if "write" in characteristic.properties:
        await client.write_gatt_char(characteristic, data, response=True)
        return
    size = characteristic.max_write_without_response_size
    for start in range(0, len(data), size):
        await client.write_gatt_char(characteristic, data[start : start + size], response=False)


def _call(coroutine: Coroutine[Any, Any, None], loop: asyncio.AbstractEventLoop, limit_s: float) -> None:
    try:
        pending = asyncio.run_coroutine_threadsafe(coroutine, loop)
    except RuntimeError:
        coroutine.close()
        raise
    try:
        pending.result(limit_s)
    except TimeoutError:
        pending.cancel()
        raise


async def _let_go(client: BleakClient | None) -> None:
    """Disconnect; a link that is gone already may answer with any error, and none of them matters any more."""
    if client is not None:
        with contextlib.suppress(*RADIO_ERRORS):
            await asyncio.wait_for(client.disconnect(), _CLOSE_S / 2)
