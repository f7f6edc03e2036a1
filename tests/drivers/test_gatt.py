from __future__ import annotations

import queue
import threading

import pytest
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason

from axledger.contract.errors import BadInput, DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Lost, SystemClock
from axledger_drivers.transports.gatt import GattTransport
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld, make_backends
from axledger_simulators.peers.listener import Listener

pytestmark = pytest.mark.usefixtures("threads_end")


def transport(world: GattWorld, profile: Profile, *, address: str = "gatt:C0:00:00:00:00:01") -> GattTransport:
    scanner, client = make_backends(world)
    return GattTransport(address, profile, SystemClock(), scanner=scanner, client=client, search_s=0.1)


def open_trouble(world: GattWorld, profile: Profile) -> DeviceTrouble:
    link = transport(world, profile)
    with pytest.raises(DeviceTrouble) as caught:
        link.open(Listener())
    assert not link.reader_alive()
    link.close()
    return caught.value


def test_bytes_go_both_ways(world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener) -> None:
    received: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    gatt_peer.on_receive = received.put
    link = transport(world, profile)
    identity = link.open(listener)
    assert identity == {"address": gatt_peer.address, "name": "example 1", "payload_bytes": "20"}
    gatt_peer.send(b"4.318m\r\n")
    event = listener.next(Arrived)
    assert profile.gatt is not None
    assert (event.data, event.channel) == (b"4.318m\r\n", profile.gatt.notify)
    link.write(b"D")
    assert received.get(timeout=5) == b"D"
    link.close()
    link.close()
    assert not link.reader_alive()
    assert len(listener.heard) == 1


def test_the_address_is_taken_in_any_case(
    world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener
) -> None:
    link = transport(world, profile, address=gatt_peer.address.lower())
    link.open(listener)
    link.close()


def test_a_long_text_comes_in_fragments_as_they_come(
    world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener
) -> None:
    link = transport(world, profile)
    link.open(listener)
    text = b"31..00+0000431822..01-00000137\r\n"
    gatt_peer.send(text)
    fragments = [listener.next(Arrived).data, listener.next(Arrived).data]
    assert [len(fragment) for fragment in fragments] == [20, len(text) - 20]
    assert b"".join(fragments) == text
    link.close()


def test_a_drop_is_one_loss_and_then_silence(
    world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener
) -> None:
    link = transport(world, profile)
    link.open(listener)
    gatt_peer.drop()
    assert "ended the connection" in listener.next(Lost).why
    with pytest.raises(DeviceTrouble) as caught:
        link.write(b"D")
    assert caught.value.cause is DeviceCause.LOST
    link.close()
    assert len(listener.heard) == 1


def test_after_five_reconnections_one_notification_is_one_arrival(
    world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener
) -> None:
    for _ in range(5):
        link = transport(world, profile)
        link.open(listener)
        gatt_peer.drop()
        listener.next(Lost)
        link.close()
    last = transport(world, profile)
    last.open(listener)
    gatt_peer.send(bytes.fromhex("0E2D8A40"))
    gatt_peer.send(b"end")
    assert [listener.next(Arrived).data, listener.next(Arrived).data] == [bytes.fromhex("0E2D8A40"), b"end"]
    last.close()
    assert len(listener.heard) == 7


def test_a_doubled_notification_is_two_arrivals(
    world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener
) -> None:
    # What a repeat is, the decoder and the ledger say; a transport drops nothing.
    link = transport(world, profile)
    link.open(listener)
    gatt_peer.send(b"\x0e")
    gatt_peer.send(b"\x0e")
    assert listener.data(2) == b"\x0e\x0e"
    link.close()


@pytest.mark.parametrize("field", ["refuse_connections", "refuse_subscriptions"])
def test_a_failing_start_is_made_again_with_a_new_client(
    world: GattWorld, gatt_peer: GattPeer, profile: Profile, listener: Listener, field: str
) -> None:
    setattr(gatt_peer, field, 2)
    link = transport(world, profile)
    link.open(listener)
    gatt_peer.send(b"4.318m\r\n")
    gatt_peer.send(b"4.319m\r\n")
    assert listener.data(16) == b"4.318m\r\n4.319m\r\n"
    link.close()
    assert len(listener.heard) == 2


def test_a_device_that_refuses_for_good(world: GattWorld, gatt_peer: GattPeer, profile: Profile) -> None:
    gatt_peer.refuse_connections = 99
    trouble = open_trouble(world, profile)
    assert trouble.cause is DeviceCause.OTHER
    assert "refused" in trouble.found
    assert gatt_peer.refuse_connections == 96


def test_an_absent_device(world: GattWorld, profile: Profile) -> None:
    assert open_trouble(world, profile).cause is DeviceCause.ABSENT


def test_a_device_without_the_service(world: GattWorld, profile: Profile) -> None:
    assert profile.gatt is not None
    other = profile.gatt.model_copy(update={"service": "180f"})
    GattPeer(world, "C0:00:00:00:00:01", other)
    assert "no characteristic" in open_trouble(world, profile).found


def test_a_radio_that_is_off(world: GattWorld, gatt_peer: GattPeer, profile: Profile) -> None:
    world.fault = BleakBluetoothNotAvailableError("off", BleakBluetoothNotAvailableReason.POWERED_OFF)
    trouble = open_trouble(world, profile)
    assert (trouble.cause, trouble.what) == (DeviceCause.NO_RADIO, "Bluetooth is switched off")


def test_no_bus_with_the_systems_own_backend(profile: Profile, monkeypatch: pytest.MonkeyPatch) -> None:
    # The real Linux backend, pointed at a bus that is not there.
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nonexistent/bus")
    link = GattTransport("gatt:C0:00:00:00:00:01", profile, SystemClock(), search_s=0.1)
    with pytest.raises(DeviceTrouble) as caught:
        link.open(Listener())
    link.close()
    assert caught.value.cause is DeviceCause.NO_RADIO
    assert "no system bus" in caught.value.what


def test_closing_cuts_a_search_short(world: GattWorld, profile: Profile) -> None:
    scanner, client = make_backends(world)
    link = GattTransport("gatt:C0:FF", profile, SystemClock(), scanner=scanner, client=client, search_s=600)
    ended: queue.SimpleQueue[DeviceTrouble] = queue.SimpleQueue()

    def opens() -> None:
        with pytest.raises(DeviceTrouble) as caught:
            link.open(Listener())
        ended.put(caught.value)

    thread = threading.Thread(target=opens)
    thread.start()
    while not link.reader_alive():
        assert thread.is_alive()
    link.close()
    assert ended.get(timeout=5).cause is DeviceCause.LOST
    thread.join(5)


def test_a_device_without_a_write_characteristic_takes_no_commands(
    world: GattWorld, profile: Profile, listener: Listener
) -> None:
    assert profile.gatt is not None
    mute = profile.model_copy(update={"gatt": profile.gatt.model_copy(update={"write": None})})
    assert mute.gatt is not None
    GattPeer(world, "C0:00:00:00:00:01", mute.gatt)
    link = transport(world, mute)
    link.open(listener)
    with pytest.raises(DeviceTrouble):
        link.write(b"D")
    link.close()


def test_a_profile_for_other_transports_is_refused(profile: Profile) -> None:
    with pytest.raises(BadInput):
        GattTransport("gatt:C0", profile.model_copy(update={"gatt": None}), SystemClock())


def test_a_link_closed_before_it_opens_stays_closed(world: GattWorld, gatt_peer: GattPeer, profile: Profile) -> None:
    link = transport(world, profile)
    link.close()
    with pytest.raises(DeviceTrouble):
        link.open(Listener())
    assert not link.reader_alive()
