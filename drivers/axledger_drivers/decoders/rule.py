"""The line rules of a profile, compiled: from a whole line to an outcome."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from axledger.contract.frame import DeviceFault, Measured, Outcome, Quality, Status, Unreadable, Value
from axledger.contract.number_text import plain_number
from axledger.contract.profile import CheckRule, FaultLine, LineRule, MeasuredLine, Profile, StatusLine, ValueField
from axledger_drivers.decoders.checks import check_sum
from axledger_drivers.decoders.field import decoded, read_value

__all__ = ["RuleBook"]


@dataclass(frozen=True, slots=True)
class _Rule:
    place: int
    line: LineRule
    pattern: re.Pattern[str]

    @property
    def name(self) -> str:
        return f"line {self.place} ({self.line.kind})"


class RuleBook:
    """All line rules of a profile. A line is Latin-1 text, and a rule must match all of it."""

    def __init__(self, profile: Profile) -> None:
        self._rules = tuple(
            _Rule(place, line, re.compile(line.pattern)) for place, line in enumerate(profile.line, start=1)
        )

    def matches(self, body: bytes) -> bool:
        """Tell whether any rule matches the whole of ``body``."""
        text = body.decode("latin-1")
        return any(rule.pattern.fullmatch(text) for rule in self._rules)

    def read(self, body: bytes) -> Outcome | None:
        """Return what ``body`` says, or ``None`` where no rule matches; two matching rules are ``Unreadable``."""
        text = body.decode("latin-1")
        matched = [(rule, match) for rule in self._rules if (match := rule.pattern.fullmatch(text))]
        if not matched:
            return None
        if len(matched) > 1:
            names = " and ".join(rule.name for rule, _ in matched)
            return Unreadable(f"ambiguous: {names} of the profile both match {decoded(text)!r}")
        rule, match = matched[0]
        if isinstance(rule.line, MeasuredLine):
            return _measured(rule.line, match)
        return _fault(rule.line, match) if isinstance(rule.line, FaultLine) else _status(rule.line, match)


def _measured(line: MeasuredLine, match: re.Match[str]) -> Outcome:
    if line.check and (failed := _failed_check(line.check, match)):
        return failed
    read = _read_all(line.value, match)
    if isinstance(read, Unreadable):
        return read
    values, faults = read
    if not values:
        return faults[0] if faults else Unreadable("the line is known and holds no value")
    quality = _quality(line, match)
    if isinstance(quality, Unreadable):
        return quality
    counter = match[line.counter] if line.counter else None
    return Measured(
        values=values,
        quality=quality,
        counter=counter.strip() if counter is not None else None,
        held=line.held,
    )


def _read_all(
    fields: Iterable[ValueField], match: re.Match[str]
) -> tuple[tuple[Value, ...], tuple[DeviceFault, ...]] | Unreadable:
    """Read every field; one unreadable field spoils the line, a reserved one leaves the others usable."""
    read = [read_value(field, match) for field in fields]
    for outcome in read:
        if isinstance(outcome, Unreadable):
            return outcome
    values = tuple(outcome for outcome in read if isinstance(outcome, Value))
    return values, tuple(outcome for outcome in read if isinstance(outcome, DeviceFault))


def _quality(line: MeasuredLine, match: re.Match[str]) -> Quality | Unreadable | None:
    if line.quality is None or (sent := match[line.quality.group]) is None or not sent.strip():
        return None
    number = plain_number(sent.strip())
    if number is None:
        return Unreadable(f"quality {decoded(sent)!r} is not a plain number")
    return Quality(float(number[0]), line.quality.direction, line.quality.limit)


def _failed_check(check: CheckRule, match: re.Match[str]) -> Unreadable | None:
    sent, covers = match[check.group], match[check.covers]
    if sent is None or covers is None:
        return Unreadable(f"the {check.kind} check is missing")
    if not re.fullmatch(r"[0-9A-Fa-f]+", sent):
        return Unreadable(f"the {check.kind} check {decoded(sent)!r} is not in hex digits")
    data = covers.encode("latin-1")
    if check.over == "hex":
        if not re.fullmatch(rb"(?:[0-9A-Fa-f]{2})+", data):
            return Unreadable(f"the bytes under the {check.kind} check are not pairs of hex digits")
        data = bytes.fromhex(covers)
    computed = check_sum(check.kind, data)
    if computed == int(sent, 16):
        return None
    return Unreadable(
        f"{check.kind} check failed: the line says {sent.upper()}, its bytes give {computed:0{len(sent)}X}"
    )


def _fault(line: FaultLine, match: re.Match[str]) -> DeviceFault:
    sent = match[line.code] if line.code else match[0]
    code = decoded(sent or "").strip()
    return DeviceFault(code=code, words=line.words.get(code, line.otherwise))


def _status(line: StatusLine, match: re.Match[str]) -> Status | Unreadable:
    read = _read_all(line.value, match)
    if isinstance(read, Unreadable):
        return read
    return Status(line.status, decoded(match[0]).strip(), read[0])
