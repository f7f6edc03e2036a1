"""What went wrong with Bluetooth, in words. A computer without it is no fault of the device."""

from __future__ import annotations

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
)

from axledger.contract.errors import DeviceCause, DeviceTrouble

__all__ = ["RADIO_ERRORS", "not_advertising", "radio_lost", "radio_trouble"]

# On Linux the bus can fail with a plain OSError at any call; a call that is never answered ends by time.
RADIO_ERRORS = (BleakError, OSError, TimeoutError, EOFError)

_Reason = BleakBluetoothNotAvailableReason
_OFF = (
    "Bluetooth is switched off",
    "switch Bluetooth on in the settings of this computer; it is tried again by itself",
)
_NO_ADAPTER = ("this computer has no usable Bluetooth adapter", "plug in a Bluetooth LE adapter, or use a cable")
_NO_BUS = (
    "the Bluetooth service of this computer cannot be reached: there is no system bus",
    "start the system's message bus and Bluetooth service, or use a cable",
)
_NO_SERVICE = (
    "the Bluetooth service of this computer is not running",
    "start the system's Bluetooth service, or use a cable",
)
_DENIED = (
    "this program may not use Bluetooth",
    "allow Bluetooth for this program in the settings of this computer, then start it again",
)
_REASONS: dict[BleakBluetoothNotAvailableReason, tuple[str, str]] = {
    _Reason.POWERED_OFF: _OFF,
    _Reason.NO_BLUETOOTH: _NO_ADAPTER,
    _Reason.NO_BLE_CENTRAL_ROLE: _NO_ADAPTER,
    _Reason.DENIED_BY_USER: _DENIED,
    _Reason.DENIED_BY_SYSTEM: _DENIED,
    _Reason.DENIED_BY_UNKNOWN: _DENIED,
}


def radio_trouble(address: str, error: BaseException, *, scanning: bool) -> DeviceTrouble:
    """Return the trouble of reaching ``address`` in four parts; ``scanning``: no device was met yet."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        words = _REASONS.get(error.reason, _NO_ADAPTER)
        return _radio(words, error, DeviceCause.DENIED if words is _DENIED else DeviceCause.NO_RADIO)
    if isinstance(error, BleakDBusError) and "ServiceUnknown" in error.dbus_error:
        return _radio(_NO_SERVICE, error, DeviceCause.NO_RADIO)
    if isinstance(error, FileNotFoundError | ConnectionError) and scanning:
        return _radio(_NO_BUS, error, DeviceCause.NO_RADIO)
    if "Authentication" in str(error):
        return _pairing(address, error)
    if isinstance(error, BleakDeviceNotFoundError):
        return not_advertising(address, found=str(error) or "the system knows no such device")
    return DeviceTrouble(
        f"{address} was seen, but no connection came about" if not scanning else "searching by Bluetooth failed",
        cause=DeviceCause.OTHER,
        found=str(error) or type(error).__name__,
        allowed="a device in reach that nothing else is connected to",
        do="switch the device off and on, keep it near; it is tried again by itself",
    )


def not_advertising(address: str, *, found: str) -> DeviceTrouble:
    """Return the trouble of a device that nobody hears."""
    return DeviceTrouble(
        f"{address} is not heard",
        cause=DeviceCause.ABSENT,
        found=found,
        allowed="a device that is awake, in reach, and connected to nothing else",
        do="press a key on the device; if a phone is connected to it, let it go there",
    )


def radio_lost(address: str, error: BaseException | None = None) -> DeviceTrouble:
    """Return the trouble of bytes that cannot leave because the link is down."""
    return DeviceTrouble(
        f"nothing can be sent to {address}",
        cause=DeviceCause.LOST,
        found=(str(error) or type(error).__name__) if error else "the link is down",
        allowed="a link that is up, to a device that takes commands",
        do="wait until the link is up again, then repeat the command",
        kept="everything received before is kept",
    )


def _radio(words: tuple[str, str], error: BaseException, cause: DeviceCause) -> DeviceTrouble:
    what, do = words
    allowed = "a Bluetooth LE adapter that is switched on and may be used"
    return DeviceTrouble(what, cause=cause, found=str(error) or type(error).__name__, allowed=allowed, do=do)


def _pairing(address: str, error: BaseException) -> DeviceTrouble:
    return DeviceTrouble(
        f"{address} refuses the pairing of this computer",
        cause=DeviceCause.DENIED,
        found=str(error),
        allowed="one pairing that both sides know",
        do="remove the device in the Bluetooth settings of this computer and pair it again",
    )
