"""A serial port without hardware: a pseudo terminal behind a link whose name does not change (POSIX only)."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import threading
from dataclasses import dataclass
from pathlib import Path

from axledger.contract.errors import Refused
from axledger_simulators.peers.peer import OnReceive

__all__ = ["PtyPort"]

_SEND_S = 0.5  # how long a full buffer is waited for; then bytes are lost, as in a real port that overruns


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ends:
    """The two ends of the terminal, the pipe that wakes the reader, and the reader."""

    master: int
    slave: int
    wake_read: int
    wake_write: int
    reader: threading.Thread


class PtyPort:
    """A port under the path ``link``, plugged in from the start.

    The tool's end is also held open here: without that the device's end would fail whenever the tool closes.
    """

    def __init__(self, link: Path, on_receive: OnReceive | None = None) -> None:
        self._link = link
        self.on_receive = on_receive
        self.lost_bytes = 0
        self._writing = threading.Lock()
        self._ends: _Ends | None = None
        self.plug()

    @property
    def address(self) -> str:
        """Return the link's path."""
        return str(self._link)

    def plug(self) -> None:
        """Make a new terminal and put the link on it; nothing happens where there is one already."""
        if self._ends is not None:
            return
        master, slave = _raw_pair()
        wake_read, wake_write = os.pipe()
        os.set_blocking(master, False)
        name = f"pty {self._link.name}"
        reader = threading.Thread(target=self._run, args=(master, wake_read), name=name, daemon=True)
        self._ends = _Ends(master=master, slave=slave, wake_read=wake_read, wake_write=wake_write, reader=reader)
        reader.start()
        try:
            self._put_link(os.ttyname(slave))
        except OSError:
            self.unplug()
            raise

    def _put_link(self, terminal: str) -> None:
        """Put the link on ``terminal`` at one stroke, also where an old one is left over."""
        fresh = self._link.with_name(self._link.name + ".new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(terminal)
        fresh.replace(self._link)

    def unplug(self) -> None:
        """Remove the link, then close: the system gives the terminal's name to the next one at once."""
        ends, self._ends = self._ends, None
        if ends is None:
            return
        self._link.unlink(missing_ok=True)
        os.write(ends.wake_write, b"x")
        if ends.reader is not threading.current_thread():
            ends.reader.join(2.0)
        with self._writing:  # a number that is closed under a writer may be somebody else's file already
            _close_all(ends)

    def close(self) -> None:
        """Unplug for good."""
        self.unplug()

    def listened(self, timeout_s: float) -> bool:
        """Return whether the port is plugged in; a terminal cannot know whether somebody has it open."""
        return self._ends is not None

    def send(self, data: bytes) -> None:
        """Send bytes; what does not fit into the system's buffer in half a second counts as ``lost_bytes``."""
        rest = memoryview(data)
        with self._writing:
            while rest and (ends := self._ends) is not None:
                _, ready, _ = select.select([], [ends.master], [], _SEND_S)
                if not ready:
                    break
                with contextlib.suppress(BlockingIOError):
                    rest = rest[os.write(ends.master, rest) :]
        self.lost_bytes += len(rest)

    def host_baud(self) -> int | None:
        """Return the speed the tool has set, ``None`` where it is none of the system's own."""
        return None if self._ends is None else _baud(self._ends.master)

    def _run(self, master: int, wake: int) -> None:
        while True:
            ready, _, _ = select.select([master, wake], [], [])
            if wake in ready:
                return
            with contextlib.suppress(BlockingIOError):
                data = os.read(master, 4096)
                if data and self.on_receive is not None:
                    self.on_receive(data)
            ends = self._ends
            if ends is None or ends.reader is not threading.current_thread():
                return  # unplugged by what was received: the descriptors are closed


def _close_all(ends: _Ends) -> None:
    for descriptor in (ends.master, ends.slave, ends.wake_read, ends.wake_write):
        os.close(descriptor)


def _raw_pair() -> tuple[int, int]:
    """Return the device's and the tool's end of a new terminal that changes no byte and echoes nothing."""
    if sys.platform == "win32":
        raise Refused(
            "this system has no pseudo terminals",
            found=sys.platform,
            allowed="Linux or macOS",
            do="use the simulated network serial server (socket://) instead",
        )
    import tty  # noqa: PLC0415  # exists on POSIX only

    master, slave = os.openpty()
    tty.setraw(slave)
    return master, slave


def _baud(descriptor: int) -> int | None:
    if sys.platform == "win32":
        return None
    import termios  # noqa: PLC0415  # exists on POSIX only

    speed = termios.tcgetattr(descriptor)[5]
    names = (name for name in vars(termios) if name[0] == "B" and name[1:].isdigit())
    return next((int(name[1:]) for name in names if getattr(termios, name) == speed), None)
