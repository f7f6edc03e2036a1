"""``axledger listen``: live readings from an instrument, into the ledger."""

from __future__ import annotations

import argparse
import contextlib
import queue
import sys
import time
from typing import Any

from axledger.cli.folder import add_json, data_folder, own_folder, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="an enrolled instrument")
    parser.add_argument("--address", metavar="ADDRESS", help="a device that is not enrolled: its address")
    parser.add_argument("--profile", metavar="PROFILE", help="and its profile")
    parser.add_argument("--count", type=int, metavar="N", help="end after N readings")
    parser.add_argument("--seconds", type=float, metavar="S", help="end after S seconds")
    parser.add_argument("--measure", action="store_true", help="send the profile's measure command for each reading")
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Listen until enough has come or Ctrl-C is pressed; return 1 where fewer than ``--count`` readings came."""
    from axledger.contract.errors import BadInput
    from axledger.contract.profile import parse_profile
    from axledger.contract.transport import SystemClock
    from axledger.job.link_fold import LinkFold
    from axledger.job.wiring import supervisor_maker
    from axledger.ledger import Ledger
    from axledger_drivers.registry import decoder_for

    for option, figure in (("count", parsed.count), ("seconds", parsed.seconds)):
        if figure is not None and not figure > 0:
            raise BadInput(
                "there is nothing to wait for", found=f"{option} {figure:g}", allowed=f"a {option} above 0",
                do="choose another figure, or leave the option out",
            )  # fmt: skip
    clock = SystemClock()
    with Ledger.open(data_folder()) as ledger:
        name, address, text = _device(ledger, parsed)
        profile = parse_profile(text, path=f"profile of {name}")
        if parsed.measure and profile.commands.measure is None:
            raise BadInput(
                f"{name} takes no command", found=f"profile {profile.name}",
                allowed="a profile with a measure command", do="leave --measure out and press the device's button",
            )  # fmt: skip
        events: queue.SimpleQueue[Any] = queue.SimpleQueue()
        supervisor = supervisor_maker(clock)(address, profile, {}, events.put)
        session = _Session(ledger, name, address, text, profile, clock, supervisor, as_json=parsed.json)
        session.fold = LinkFold(
            link=session.link, role="listen", instrument=name, address=address, profile=profile,
            make_decoder=decoder_for,
        )  # fmt: skip
        supervisor.start()
        try:
            _listen(session, events, parsed)
        except KeyboardInterrupt:
            session.say("stopped")
        finally:
            supervisor.stop()
            session.end(events)
    return 0 if parsed.count is None or session.readings >= parsed.count else 1


def _device(ledger: Any, parsed: argparse.Namespace) -> tuple[str, str, str]:
    from axledger.contract.errors import BadInput, UnknownName
    from axledger.job.opening import instruments_in
    from axledger_drivers.registry import profile_text

    own = own_folder("profiles")
    extra = [own] if own is not None else []
    if parsed.name:
        known = instruments_in(ledger)
        if parsed.name not in known:
            raise UnknownName("instrument", parsed.name, sorted(known), do="enrol it with `axledger enrol`")
        instrument = known[parsed.name].instrument
        return instrument.name, instrument.address, profile_text(instrument.profile, extra)
    if not parsed.address or not parsed.profile:
        raise BadInput(
            "nothing to listen to", found="no instrument and no --address with --profile",
            allowed="an enrolled instrument, or both options", do="see `axledger enrol` and `axledger ports`",
        )  # fmt: skip
    return parsed.address, parsed.address, profile_text(parsed.profile, extra)


class _Session:
    """One listening: writes what happens, decodes it, prints it."""

    def __init__(
        self, ledger: Any, name: str, address: str, text: str, profile: Any, clock: Any, supervisor: Any, *,
        as_json: bool,
    ) -> None:  # fmt: skip
        from axledger.job import facts

        self._facts = facts
        self._ledger, self._clock, self._supervisor, self._as_json = ledger, clock, supervisor, as_json
        self.name, self.address, self.profile = name, address, profile
        (record,) = ledger.append([facts.profile_record(text)])
        self._digest = str(record.body["digest"])
        self.link = f"listen-{record.seq}"
        self.fold: Any = None
        self.readings = 0
        self._number = 0
        self._up = self._was_up = False
        self._asked_ns: int | None = None

    def now_ns(self) -> int:
        return int(self._clock.now().mono_ns)

    def say(self, words: str) -> None:
        """Print words; beside JSON they go to standard error."""
        if words:
            print(words, flush=True, file=sys.stderr if self._as_json else sys.stdout)

    def take(self, event: Any) -> None:
        from axledger.contract.transport import Arrived, Lost, Opened, Recovered, Silent

        if isinstance(event, Arrived):
            (entry,) = self._ledger.append([self._arrival(event.data, event.stamp, event.channel)])
            self.show(self.fold.feed(event.data, event.stamp.mono_ns, entry.seq))
            return
        names = {Opened: "opened", Recovered: "recovered", Lost: "lost", Silent: "silent"}
        what, why = names[type(event)], getattr(event, "why", "")
        self._ledger.append([self._facts.link(
            self.link, what, event.stamp, job=None, instrument=self.name, profile=self._digest,
            address=self.address, identity=getattr(event, "identity", None), why=why,
        )])  # fmt: skip
        self._up = what in ("opened", "recovered")
        self._was_up = self._was_up or self._up
        self._asked_ns = None
        if self._up:
            self.show(self.fold.opened(event.stamp.mono_ns, "opened"))
        elif what == "lost":
            self.show(self.fold.ended("lost"))
        if self._was_up:  # why a device was never reached is told by the supervisor's trouble
            self.say(f"link {what} {why}".rstrip())

    def _arrival(self, data: bytes, stamp: Any, channel: str = "", *, sent: bool = False) -> Any:
        self._number += 1
        return self._facts.arrival(self.link, self._number, data, stamp, job=None, channel=channel, sent=sent)

    def ask(self) -> None:
        """Send the measure command where the link is up and no answer is due; a lost answer is asked for again."""
        from axledger.contract.errors import DeviceTrouble

        patience_ns = self.profile.timing.answer_s * 1e9
        if not self._up or (self._asked_ns is not None and self.now_ns() - self._asked_ns < patience_ns):
            return
        self._asked_ns = self.now_ns()
        try:
            self._send(str(self.profile.commands.measure).encode("latin-1"))
        except DeviceTrouble as trouble:  # the loss itself is on its way
            self.say(f"- {trouble.what}: {trouble.found}")

    def _send(self, data: bytes) -> None:
        stamp = self._clock.now()
        self._ledger.append([self._arrival(data, stamp, sent=True)])
        self.show(self.fold.sent(data, stamp.mono_ns))
        self._supervisor.write(data)

    def _acknowledge(self) -> None:
        """Tell a device that waits for it that its measurement is safe; its bytes are in the ledger."""
        from axledger.contract.errors import DeviceTrouble

        if self._up and self.profile.acknowledge is not None:
            with contextlib.suppress(DeviceTrouble):  # the device sends again, and the repeat is acknowledged
                self._send(self.profile.acknowledge.reply.encode("latin-1"))

    def trouble_words(self) -> str:
        """Say what keeps the link from being up; empty where nothing does."""
        trouble = self._supervisor.status().trouble
        return f"- {trouble.error.what}: {trouble.error.found}; {trouble.error.do}" if trouble is not None else ""

    def over(self) -> bool:
        """Tell whether the link has ended for good, as typed input and recordings do."""
        from axledger_drivers.link_state import LinkState

        status = self._supervisor.status()
        return status.state is LinkState.CLOSED and (self._was_up or status.trouble is not None)

    def quiet(self, now_ns: int) -> None:
        self.show(self.fold.quiet(now_ns))

    def end(self, events: Any) -> None:
        """Take what the link still delivered while it was being closed, then record the end."""
        self._up = False
        while not events.empty():
            self.take(events.get())
        self.quiet(self.now_ns())
        self.show(self.fold.ended("closed"))
        self._ledger.append([self._facts.link(self.link, "closed", self._clock.now(), job=None)])

    def show(self, heard: Any) -> None:
        from axledger.contract.frame import DeviceFault, Measured

        for one in heard:
            outcome = one.frame.outcome
            if isinstance(outcome, Measured | DeviceFault):
                self._asked_ns = None
            if isinstance(outcome, Measured):
                self._acknowledge()
                self.readings += one.use == "reading"
                values = [(v.quantity.value, v.si, v.text, v.unit) for v in outcome.values]
                words = ", ".join(f"{text} {unit}" for _, _, text, unit in values)
                doubt = " (weak return)" if outcome.quality is not None and outcome.quality.doubtful else ""
                note = f"  [{one.use}: {one.why}]" if one.use != "reading" else ""
                self.say(f"{words}{doubt}{note}")
                if self._as_json:
                    print_json({"entry": one.seq, "raw": one.frame.raw.hex(), "use": one.use,
                                "values": {quantity: si for quantity, si, _, _ in values}})  # fmt: skip
            elif one.why:
                self.say(f"- {one.why}")


def _listen(session: _Session, events: Any, parsed: argparse.Namespace) -> None:
    ends = time.monotonic() + parsed.seconds if parsed.seconds is not None else None
    told = ""
    while (parsed.count is None or session.readings < parsed.count) and (ends is None or time.monotonic() < ends):
        if parsed.measure:
            session.ask()
        before = session.now_ns()
        try:
            session.take(events.get(timeout=0.1))
        except queue.Empty:
            session.quiet(before)  # what was stamped by then has reached the queue, so no gap is called early
            if session.over():
                break
        words = session.trouble_words()
        if words != told:  # it is tried again and again; once is enough to say so
            told = words
            session.say(words)
