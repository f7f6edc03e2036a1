"""One supervisor a link: opens it, hands on what comes, and brings it back by the device's identity.

All of a link's events reach ``sink`` from one thread and in order: ``Opened``, then ``Arrived``…, ``Lost``,
``Recovered``, and so on. What a transport reports while it is being opened waits until ``Opened`` is delivered.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from axledger.contract.errors import AxledgerError, DeviceCause, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import (
    Arrived,
    Clock,
    LinkEvent,
    Lost,
    Opened,
    Recovered,
    Silent,
    Sink,
    Stamp,
    Transport,
)
from axledger_drivers.link_state import LinkState, step
from axledger_drivers.transports.address import ends_for_good
from axledger_drivers.trouble_count import Trouble, TroubleCount

__all__ = ["BACKOFF_S", "Find", "LinkStatus", "LinkSupervisor", "MakeTransport", "WatchedReader"]

Find = Callable[[Mapping[str, str]], str | None]
MakeTransport = Callable[[str, Profile, Clock], Transport]
Wait = Callable[[threading.Event, float], bool]
Inbox = queue.SimpleQueue[LinkEvent | None]

BACKOFF_S = (0.2, 0.5, 1.0, 2.0, 4.0, 8.0)
_HEALTHY_NS = 2_000_000_000  # a link that lives shorter, and says nothing, has not recovered
_LONGEST_SILENCE = 32  # times silent_s; each reopening of a dumb device doubles the patience up to this
_STOP_S = 2.8


@runtime_checkable
class WatchedReader(Protocol):
    """A transport whose reader can be seen to have died."""

    def reader_alive(self) -> bool:
        """Tell whether the reader runs."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkStatus:
    """How a link is: its state, where the device was last, its identity, drops so far, trouble in a row."""

    state: LinkState
    address: str
    identity: Mapping[str, str]
    drops: int
    trouble: Trouble | None


class LinkSupervisor:
    """Keep one link up until ``stop``.

    ``make_transport`` builds a fresh transport for each opening; ``find`` tells where the device with an identity
    is now. With ``identity`` given, the device is found by it from the start, whatever ``address`` says.
    ``wait(event, seconds)`` waits for the event for at most that long and tells whether it is set. ``report`` hears
    of each trouble once and then at most once a minute, with its count. ``check_s``: how often an idle link is
    looked after.
    """

    def __init__(
        self,
        address: str,
        profile: Profile,
        clock: Clock,
        sink: Sink,
        *,
        make_transport: MakeTransport,
        find: Find,
        backoff_s: Sequence[float] = BACKOFF_S,
        wait: Wait = threading.Event.wait,
        report: Callable[[Trouble], None] | None = None,
        identity: Mapping[str, str] | None = None,
        check_s: float = 0.5,
    ) -> None:
        self._address = address
        self._profile = profile
        self._clock = clock
        self._sink = sink
        self._make_transport = make_transport
        self._find = find
        self._backoff_s = backoff_s
        self._wait = wait
        self._report = report
        self._identity: Mapping[str, str] = dict(identity or {})
        self._check_s = check_s
        self._stop = threading.Event()
        self._state = LinkState.CLOSED
        self._transport: Transport | None = None
        self._inbox: Inbox = queue.SimpleQueue()
        self._troubles = TroubleCount()
        self._drops = 0
        self._failures = 0
        self._was_up = False
        self._told_lost = False
        self._patience = 1
        self._told_silent = False
        self._thread = threading.Thread(target=self._run, name=f"axledger link {address}", daemon=True)

    def start(self) -> None:
        """Begin; what becomes of the link is heard through ``sink``, ``report`` and ``status``."""
        self._thread.start()

    def status(self) -> LinkStatus:
        """Return how the link is now."""
        return LinkStatus(
            state=self._state,
            address=self._address,
            identity=dict(self._identity),
            drops=self._drops,
            trouble=self._troubles.latest,
        )

    def write(self, data: bytes) -> None:
        """Send bytes; raise ``DeviceTrouble`` when the link is not up or they cannot leave."""
        transport = self._transport
        if transport is None or self._state is not LinkState.UP:
            raise DeviceTrouble(
                f"nothing can be sent to {self._address}",
                cause=DeviceCause.LOST,
                found=f"the link is {self._state.value}",
                allowed="a link that is up",
                do="wait until the link is up again, then repeat the command",
            )
        try:
            transport.write(data)
        except DeviceTrouble:
            raise
        except OSError as error:
            raise _other_trouble(f"nothing can be sent to {self._address}", error) from error

    def stop(self) -> bool:
        """End the link within three seconds, handing on first what has arrived.

        Return whether all of it ended; a driver that hangs in a call is left behind.
        """
        self._stop.set()
        self._inbox.put(None)
        if self._state is LinkState.OPENING and (opening := self._transport) is not None:
            opening.close()  # a search by radio takes long and can be cut short
        if self._thread.is_alive():
            self._thread.join(_STOP_S)
        return not self._thread.is_alive()

    # --- everything below runs in the supervisor's own thread ---

    def _run(self) -> None:
        try:
            self._live()
        except AxledgerError as error:  # a bad recording, say: no search can mend it
            self._ended_by(error)
        except Exception as error:  # a transport may be anybody's: its fault must not end the thread without a word
            self._ended_by(_fault(self._address, error))
        finally:
            self._release()
            self._go(LinkState.CLOSED)

    def _ended_by(self, error: AxledgerError) -> None:
        """Tell that the link ended for good."""
        self._note(error)
        if self._was_up and not self._told_lost:
            self._told_lost = True
            self._drops += 1
            self._sink(Lost(self._clock.now(), f"{error.what}: {error.found}; {error.do}"))

    def _live(self) -> None:
        self._go(LinkState.SEARCHING if "usb" in self._identity else LinkState.OPENING)
        while not self._stop.is_set():
            if self._state is LinkState.SEARCHING and not self._search():
                continue
            if self._open():
                self._follow()
            if self._stop.is_set() or ends_for_good(self._address):
                return
            self._go(LinkState.SEARCHING)

    def _search(self) -> bool:
        """Look once for the device, after a pause that grows with the failures; tell whether to open."""
        if self._failures:
            pause_s = self._backoff_s[min(self._failures, len(self._backoff_s)) - 1]
            if self._wait(self._stop, pause_s):
                return False
        if (address := self._find_address()) is None:
            self._missed()
            return False
        self._address = address
        self._go(LinkState.OPENING)
        return True

    def _find_address(self) -> str | None:
        """Return where the device is; the address asked for as long as nobody has been met there."""
        if not self._identity:
            return self._address
        try:
            return self._find(self._identity)
        except OSError as error:
            self._note(_other_trouble(f"the search for {self._address} failed", error))
            return None

    def _open(self) -> bool:
        """Open a fresh transport with a fresh inbox, so that nothing of an old one is mixed in."""
        inbox: Inbox = queue.SimpleQueue()
        try:
            transport = self._make_transport(self._address, self._profile, self._clock)
            self._inbox, self._transport = inbox, transport
            if self._stop.is_set():  # set before or after the line above: one of the two threads sees the other
                return False
            began = self._clock.now()
            identity = transport.open(inbox.put)
        except DeviceTrouble as error:
            return self._not_opened(error)
        except OSError as error:
            return self._not_opened(_other_trouble(f"{self._address} cannot be opened", error))
        if not _agrees(self._identity, identity):
            return self._not_opened(_stranger(self._address, self._identity, identity))
        # where nothing can be old, what came while opening is not either: it must not be stamped earlier than that
        self._welcome(identity, self._clock.now() if self._profile.timing.backlog_s > 0 else began)
        return True

    def _not_opened(self, error: DeviceTrouble) -> bool:
        self._release()
        if not self._stop.is_set():  # an opening cut short by the end is no trouble of the device
            self._note(error)
            self._missed()
        return False

    def _welcome(self, identity: Mapping[str, str], since: Stamp) -> None:
        self._identity = dict(identity)
        self._troubles.clear()
        self._go(LinkState.UP)
        kind = Recovered if self._was_up else Opened
        self._was_up, self._told_lost = True, False
        self._sink(kind(since, identity))

    def _follow(self) -> None:
        """Hand on events until the link goes down, falls silent or is stopped."""
        up_since = heard = self._clock.now().mono_ns
        while not self._stop.is_set():
            event = self._next()
            now = self._clock.now()
            if isinstance(event, Arrived):
                heard = now.mono_ns
                self._heard(event)
            elif (lost := self._loss(event, now)) is not None:
                self._down(lost, healthy=now.mono_ns - up_since >= _HEALTHY_NS)
                return
            elif event is None and self._too_silent(now.mono_ns - heard):
                self._silent(Silent(now, now.mono_ns - heard))
                return
        self._drain()

    def _loss(self, event: LinkEvent | None, now: Stamp) -> Lost | None:
        """Return the loss that was reported, or one of our own where the reader died without a word."""
        if isinstance(event, Lost):
            return event
        if event is None and not self._reader_alive() and self._inbox.empty():
            return Lost(now, f"{self._address}: the reader ended by itself")
        return None

    def _heard(self, event: Arrived) -> None:
        self._failures, self._patience, self._told_silent = 0, 1, False
        self._sink(event)

    def _down(self, lost: Lost, *, healthy: bool) -> None:
        """Let the port go at once, as a port still held keeps its name from being given again; then tell."""
        self._go(LinkState.LOST)
        self._drops += 1
        self._release()
        self._drain()
        self._failures = 0 if healthy else self._failures + 1
        self._told_lost = True
        self._sink(lost)

    def _silent(self, silent: Silent) -> None:
        self._go(LinkState.SILENT)
        if not self._told_silent:
            self._told_silent = True
            self._sink(silent)
        self._patience = min(self._patience * 2, _LONGEST_SILENCE)
        self._release()
        self._drain()

    def _too_silent(self, silence_ns: int) -> bool:
        limit_s = self._profile.timing.silent_s
        return limit_s is not None and silence_ns > limit_s * 1e9 * self._patience

    def _reader_alive(self) -> bool:
        transport = self._transport
        return not isinstance(transport, WatchedReader) or transport.reader_alive()

    def _next(self) -> LinkEvent | None:
        try:
            return self._inbox.get(timeout=self._check_s)
        except queue.Empty:
            return None

    def _drain(self) -> None:
        """Hand on what has arrived already."""
        while not self._inbox.empty():
            if isinstance(event := self._inbox.get(), Arrived):
                self._heard(event)

    def _release(self) -> None:
        transport, self._transport = self._transport, None
        if transport is not None:
            with contextlib.suppress(OSError):  # it is gone anyway
                transport.close()

    def _missed(self) -> None:
        """Count a failure; one after a silence shows that the link is down, and is told as such, once."""
        self._failures += 1
        if self._was_up and not self._told_lost:
            self._told_lost = True
            self._drops += 1
            self._sink(Lost(self._clock.now(), f"{self._address}: not to be reached again after a silence"))

    def _note(self, error: AxledgerError) -> None:
        if self._troubles.note(error, self._clock.now().mono_ns) and self._report and self._troubles.latest:
            self._report(self._troubles.latest)

    def _go(self, to: LinkState) -> None:
        self._state = step(self._state, to)


def _agrees(known: Mapping[str, str], found: Mapping[str, str]) -> bool:
    """Tell whether the device found is the one known; ports may change hands between looking and opening."""
    return not known or all(known.get(key) == found.get(key) for key in ("usb", "serial"))


def _stranger(address: str, known: Mapping[str, str], found: Mapping[str, str]) -> DeviceTrouble:
    return DeviceTrouble(
        f"{address} is another device now",
        cause=DeviceCause.ABSENT,
        found=" ".join(f"{key} {found[key]}" for key in ("usb", "serial") if key in found) or "no USB adapter",
        allowed=" ".join(f"{key} {known[key]}" for key in ("usb", "serial") if key in known) or "no USB adapter",
        do="plug in the device that was used before; it is found at any socket",
    )


def _other_trouble(what: str, error: OSError) -> DeviceTrouble:
    return DeviceTrouble(
        what,
        cause=DeviceCause.OTHER,
        found=str(error) or type(error).__name__,
        allowed="a port that the system lets be listed, opened and written to",
        do="it is tried again by itself; if it lasts, unplug the device and plug it in again",
    )


def _fault(address: str, error: Exception) -> DeviceTrouble:
    return DeviceTrouble(
        f"the link to {address} ended by a fault of its transport",
        cause=DeviceCause.OTHER,
        found=f"{type(error).__name__}: {error}",
        allowed="a transport that raises DeviceTrouble where the device cannot be used",
        do="start the command again; if it comes back, mend or leave out the package the transport comes from",
    )
