"""A network serial server on this computer, reached by ``socket://``; works on every system."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
from dataclasses import dataclass, field

from axledger_simulators.peers.peer import OnReceive

__all__ = ["TcpPort"]

_SETTLE_S = 0.1  # the tool clears its input when opening: what is sent before would be lost
_SEND_S = 1.0


@dataclass(slots=True)
class _Session:
    """One plugged-in period: the listener, the client of the moment, and the thread that serves them."""

    listener: socket.socket
    stop_read: socket.socket
    stop_write: socket.socket
    client: socket.socket | None = None
    settled: threading.Event = field(default_factory=threading.Event)
    thread: threading.Thread | None = None


class TcpPort:
    """A server on a loopback port (0: a free one), plugged in from the start; it serves one client at a time."""

    def __init__(self, on_receive: OnReceive | None = None, *, port: int = 0) -> None:
        self.on_receive = on_receive
        self._port = port
        self._lock = threading.Lock()
        self._session: _Session | None = None
        self.plug()

    @property
    def address(self) -> str:
        """Return ``socket://127.0.0.1:PORT``."""
        return f"socket://127.0.0.1:{self._port}"

    def plug(self) -> None:
        """Listen, on the same port as before; nothing happens where the server runs already."""
        if self._session is not None:
            return
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":  # elsewhere this option lets two programs share a port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", self._port))
            listener.listen(1)
        except OSError:
            listener.close()
            raise
        self._port = listener.getsockname()[1]
        session = _Session(listener, *socket.socketpair())
        session.thread = threading.Thread(target=self._run, args=(session,), name=f"tcp {self._port}", daemon=True)
        self._session = session
        session.thread.start()

    def unplug(self) -> None:
        """Drop the client and stop listening."""
        session, self._session = self._session, None
        if session is None:
            return
        session.stop_write.send(b"x")
        if session.thread is not None and session.thread is not threading.current_thread():
            session.thread.join(2.0)

    def close(self) -> None:
        """Unplug for good."""
        self.unplug()

    def listened(self, timeout_s: float) -> bool:
        """Wait until a client is there and has settled; tell whether that is so."""
        session = self._session
        return session is not None and session.settled.wait(timeout_s)

    def send(self, data: bytes) -> None:
        """Send bytes to the client; with none there, or one that has just come, they are lost."""
        session = self._session
        if session is None or not session.settled.is_set():
            return
        with self._lock:
            if session.client is not None:
                with contextlib.suppress(OSError):
                    session.client.sendall(data)

    def _run(self, session: _Session) -> None:
        try:
            while _readable(session, session.listener, None):
                client, _ = session.listener.accept()
                client.settimeout(_SEND_S)
                session.client = client
                self._serve(session, client)
                self._drop(session)
        finally:
            self._drop(session)
            for end in (session.listener, session.stop_read, session.stop_write):
                end.close()

    def _serve(self, session: _Session, client: socket.socket) -> None:
        """Receive until the client goes or the plug is pulled."""
        limit_s: float | None = _SETTLE_S
        while (ready := _readable(session, client, limit_s)) is not None:
            session.settled.set()
            limit_s = None
            if not ready:
                continue
            try:
                data = client.recv(4096)
            except OSError:
                return
            if not data:
                return
            if self.on_receive is not None:
                self.on_receive(data)

    def _drop(self, session: _Session) -> None:
        with self._lock:
            session.settled.clear()
            client, session.client = session.client, None
        if client is not None:
            client.close()


def _readable(session: _Session, end: socket.socket, limit_s: float | None) -> bool | None:
    """Wait for ``end``: true when it can be read, false when the time is over, ``None`` when the plug is pulled."""
    ready, _, _ = select.select([end, session.stop_read], [], [], limit_s)
    return None if session.stop_read in ready else bool(ready)
