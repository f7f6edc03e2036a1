from __future__ import annotations

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
)

from axledger.contract.errors import DeviceCause
from axledger_drivers.transports.radio_trouble import not_advertising, radio_lost, radio_trouble

OFF = BleakBluetoothNotAvailableError("off", BleakBluetoothNotAvailableReason.POWERED_OFF)
NO_ADAPTER = BleakBluetoothNotAvailableError("none", BleakBluetoothNotAvailableReason.NO_BLUETOOTH)
DENIED = BleakBluetoothNotAvailableError("no", BleakBluetoothNotAvailableReason.DENIED_BY_USER)
NO_BUS = FileNotFoundError(2, "No such file or directory")
NO_SERVICE = BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["not provided"])


def test_a_missing_radio_has_a_sentence_for_each_reason() -> None:
    troubles = [radio_trouble("gatt:C0", error, scanning=True) for error in (OFF, NO_ADAPTER, NO_BUS, NO_SERVICE)]
    assert {trouble.cause for trouble in troubles} == {DeviceCause.NO_RADIO}
    assert len({trouble.what for trouble in troubles}) == 4
    assert len({trouble.do for trouble in troubles}) == 4


def test_a_denied_radio_is_another_thing() -> None:
    trouble = radio_trouble("gatt:C0", DENIED, scanning=True)
    assert trouble.cause is DeviceCause.DENIED
    assert "may not use Bluetooth" in trouble.what


def test_a_forgotten_pairing_tells_to_pair_again() -> None:
    error = BleakDBusError("org.bluez.Error.AuthenticationFailed", ["Authentication Failed"])
    trouble = radio_trouble("gatt:C0", error, scanning=False)
    assert trouble.cause is DeviceCause.DENIED
    assert "pair it again" in trouble.do


@pytest.mark.parametrize(
    ("error", "scanning", "cause"),
    [
        (BleakDeviceNotFoundError("C0"), False, DeviceCause.ABSENT),
        (BleakError("connection refused"), False, DeviceCause.OTHER),
        (TimeoutError(), True, DeviceCause.OTHER),
        (ConnectionRefusedError(111, "refused"), True, DeviceCause.NO_RADIO),
        (ConnectionResetError(104, "reset"), False, DeviceCause.OTHER),
    ],
)
def test_other_errors(error: Exception, scanning: bool, cause: DeviceCause) -> None:
    trouble = radio_trouble("gatt:C0", error, scanning=scanning)
    assert trouble.cause is cause
    assert all(text for _, text in trouble.parts())
    assert len(trouble.parts()) == 4


def test_an_unheard_device_may_be_held_by_a_phone() -> None:
    trouble = not_advertising("gatt:C0", found="nothing in 10 s")
    assert trouble.cause is DeviceCause.ABSENT
    assert "phone" in trouble.do


def test_a_lost_link_says_what_is_kept() -> None:
    assert radio_lost("gatt:C0").kept
    assert radio_lost("gatt:C0", TimeoutError()).found == "TimeoutError"
