"""Serial ports and network serial servers, by one reader thread a port.

The thread reads one byte and then all that is waiting: the same code on every system, also for ``socket://``, and
fast enough by far. It never waits for a line, so a device that babbles cannot hold it.
"""

from __future__ import annotations

import contextlib
import sys
import threading
import time
from collections.abc import Mapping

import serial

from axledger.contract.profile import Profile, SerialSettings
from axledger.contract.transport import Arrived, Clock, Lost, Sink
from axledger_drivers.transports.port_identity import ListPorts, port_identity, system_ports
from axledger_drivers.transports.port_trouble import port_lost, port_trouble

__all__ = ["SerialTransport"]

# ValueError: a setting this system does not know; TypeError: a port closed under us.
if sys.platform == "win32":
    _PORT_ERRORS = (OSError, ValueError, TypeError)
else:
    import termios

    _PORT_ERRORS = (OSError, ValueError, TypeError, termios.error)  # the last is no OSError, which is easily missed

_PARITY = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}
_READ_S = 0.2  # also the longest a stop waits where a read cannot be cancelled (socket://)
_WRITE_S = 1.0
_CLOSE_S = 2.0
_CHUNK = 4096


class SerialTransport:
    """A port name, a link to a port, or ``socket://host:port``.

    ``list_ports`` tells who is at the port; it is asked once, when opening.
    """

    def __init__(self, address: str, profile: Profile, clock: Clock, *, list_ports: ListPorts = system_ports) -> None:
        self._address = address
        self._settings = profile.serial
        self._clock = clock
        self._list_ports = list_ports
        self._stop = threading.Event()
        self._port: serial.Serial | None = None
        self._reader: threading.Thread | None = None

    def open(self, sink: Sink) -> Mapping[str, str]:
        """Open the port and start its reader; return its identity. Raises ``DeviceTrouble``."""
        identity = port_identity(self._address, self._list_ports())
        try:
            self._port = _opened(self._address, self._settings)
        except _PORT_ERRORS as error:
            raise port_trouble(self._address, error) from error
        thread = threading.Thread(
            target=self._run, args=(self._port, sink), name=f"axledger read {self._address}", daemon=True
        )
        thread.start()
        self._reader = thread  # only now, as another thread that closes may join it
        return identity

    def write(self, data: bytes) -> None:
        """Send ``data``; raise ``DeviceTrouble`` when it cannot leave within a second."""
        port = self._port
        if port is None or not self.reader_alive():
            raise port_lost(self._address)
        try:
            port.write(data)
        except _PORT_ERRORS as error:
            raise port_lost(self._address, error) from error

    def reader_alive(self) -> bool:
        """Tell whether the reader thread runs."""
        return self._reader is not None and self._reader.is_alive()

    def close(self) -> None:
        """Stop the reader, then close the port, within two seconds; calling it twice is harmless."""
        started = time.monotonic()
        self._stop.set()
        port, self._port = self._port, None
        if port is None:
            return
        with contextlib.suppress(*_PORT_ERRORS, AttributeError):  # socket:// cannot cancel; there the read ends by time
            port.cancel_read()
        if self._reader is not None and self._reader is not threading.current_thread():
            self._reader.join(_CLOSE_S / 2)
        # A driver may wait for bytes that cannot leave; then the rest of the program goes on without it.
        name = f"axledger close {self._address}"
        closer = threading.Thread(target=_close_quietly, args=(port,), name=name, daemon=True)
        closer.start()
        closer.join(max(0.1, _CLOSE_S - (time.monotonic() - started)))

    def _run(self, port: serial.Serial, sink: Sink) -> None:
        try:
            while not self._stop.is_set():
                if first := port.read(1):
                    self._hand_on(port, first, sink)
        except Exception as error:  # whatever ends the reader has to be seen
            if not self._stop.is_set():
                sink(Lost(self._clock.now(), f"{self._address}: {error}"))

    def _hand_on(self, port: serial.Serial, first: bytes, sink: Sink) -> None:
        """Hand on ``first`` with all that is waiting behind it; what was read before an error is not lost by it."""
        data = bytearray(first)
        try:
            while len(data) < _CHUNK and (waiting := port.in_waiting):
                data += port.read(min(waiting, _CHUNK - len(data)))
        finally:
            sink(Arrived(self._clock.now(), bytes(data)))


def _opened(address: str, settings: SerialSettings) -> serial.Serial:
    port = serial.serial_for_url(
        address,
        do_not_open=True,
        baudrate=settings.baud,
        bytesize=settings.data_bits,
        parity=_PARITY[settings.parity],
        stopbits=settings.stop_bits,
        rtscts=settings.flow == "rtscts",
        xonxoff=settings.flow == "xonxoff",
        timeout=_READ_S,
        write_timeout=_WRITE_S,
        exclusive=True,
    )
    # Before opening: an edge on these lines restarts many boards.
    if settings.dtr is not None:
        port.dtr = settings.dtr
    if settings.rts is not None:
        port.rts = settings.rts
    port.open()
    return port


def _close_quietly(port: serial.Serial) -> None:
    with contextlib.suppress(*_PORT_ERRORS):
        port.close()
