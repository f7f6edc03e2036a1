from __future__ import annotations

import asyncio

import pytest
from bleak import BleakClient, BleakScanner
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakError

from axledger.contract.profile import GattChannel
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld, make_backends
from axledger_simulators.peers.peer import Peer

CHANNEL = GattChannel(service="fff0", notify="fff1", write="fff2")  # invented
ADDRESS = "C0:00:00:00:00:01"


@pytest.fixture
def world() -> GattWorld:
    return GattWorld()


def test_a_peer_has_an_ordinary_address(world: GattWorld) -> None:
    peer: Peer = GattPeer(world, ADDRESS, CHANNEL)
    assert peer.address == f"gatt:{ADDRESS}"
    peer.send(b"nobody hears this")
    assert not peer.listened(0)
    peer.close()


def test_the_whole_cycle_through_the_real_front_end(world: GattWorld) -> None:
    received: list[bytes] = []
    peer = GattPeer(world, ADDRESS, CHANNEL, name="example", mtu=23, on_receive=received.append)
    scanner, client_class = make_backends(world)

    async def cycle() -> list[bytes]:
        heard: asyncio.Queue[bytes] = asyncio.Queue()
        device = await BleakScanner.find_device_by_address(ADDRESS, timeout=5, backend=scanner)
        assert device is not None
        ended = asyncio.Event()
        async with BleakClient(device, lambda _: ended.set(), backend=client_class) as client:
            assert client.name == "example"
            await client.start_notify("fff1", lambda _, data: heard.put_nowait(bytes(data)))
            assert peer.listened(0)
            await client.write_gatt_char("fff2", b"D", response=True)
            peer.send(bytes(45))
            pieces = [await asyncio.wait_for(heard.get(), 5) for _ in range(3)]
            with pytest.raises(BleakError):
                await client.read_gatt_char("fff1")
            await client.stop_notify("fff1")
        assert ended.is_set()
        return pieces

    assert asyncio.run(cycle()) == [bytes(20), bytes(20), bytes(5)]
    assert received == [b"D"]
    assert not peer.listened(0)


def test_a_drop_calls_back_and_ends_the_subscription(world: GattWorld) -> None:
    peer = GattPeer(world, ADDRESS, CHANNEL)
    scanner, client_class = make_backends(world)

    async def cycle() -> None:
        device = await BleakScanner.find_device_by_address(ADDRESS, timeout=5, backend=scanner)
        assert device is not None
        ended = asyncio.Event()
        client = BleakClient(device, lambda _: ended.set(), backend=client_class)
        await client.connect()
        peer.unplug()
        await asyncio.wait_for(ended.wait(), 5)
        assert not client.is_connected
        with pytest.raises(BleakError):
            await client.connect()
        peer.plug()
        peer.refuse_connections = 1
        with pytest.raises(BleakError, match="refused"):
            await client.connect()
        await client.connect()
        peer.refuse_subscriptions = 1
        with pytest.raises(BleakError, match="already started"):
            await client.start_notify("fff1", lambda _, __: None)
        await client.disconnect()

    asyncio.run(cycle())


def test_a_world_without_a_radio(world: GattWorld) -> None:
    world.fault = BleakBluetoothNotAvailableError("off", BleakBluetoothNotAvailableReason.POWERED_OFF)
    with pytest.raises(BleakBluetoothNotAvailableError):
        asyncio.run(BleakScanner.discover(timeout=0.01, backend=make_backends(world)[0]))


def test_a_scan_hears_only_what_it_asks_for(world: GattWorld) -> None:
    GattPeer(world, "C0:01", CHANNEL)
    GattPeer(world, "C0:02", GattChannel(service="fff5", notify="fff1"))
    scanner = make_backends(world)[0]
    found = asyncio.run(
        BleakScanner.discover(
            timeout=0.01, backend=scanner, service_uuids=[f"0000fff5{'-0000-1000-8000-00805f9b34fb'}"]
        )
    )
    assert [device.address for device in found] == ["C0:02"]
