"""Profiles: a device described with no code.

A profile is a TOML file. Its text is stored in the ledger with every link it was used on and named there by the
SHA-256 of that text, so the reading of old bytes never depends on what is installed today.
"""

from __future__ import annotations

import hashlib
import re
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from axledger.contract.frame import QualityDirection, StatusKind
from axledger.contract.quantity import UNITS, Quantity
from axledger.contract.toml_file import parse_toml

__all__ = [
    "Acknowledge",
    "CheckRule",
    "Commands",
    "FaultLine",
    "Framing",
    "GattChannel",
    "LineEnd",
    "LineRule",
    "MeasuredLine",
    "Profile",
    "QualityField",
    "Recognise",
    "SerialSettings",
    "StatusLine",
    "Timing",
    "ValueField",
    "parse_profile",
    "profile_digest",
    "read_profile_text",
]

_DO = "mend the named lines, then run `axledger profiles check FILE`"


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LineEnd(Enum):
    """How a line ends. ``ANY`` takes CR, LF and CRLF, also when CR and LF arrive apart."""

    ANY = "any"
    CRLF = "crlf"
    CR = "cr"
    LF = "lf"
    QUIET = "quiet"
    """No end mark at all: a gap of ``quiet_ms`` ends the line."""
    MESSAGE = "message"
    """One notification or one chunk is one line."""


class Framing(_Strict):
    """How lines are cut out of the stream. ``max_bytes`` caps what is kept while waiting for an end."""

    end: LineEnd = LineEnd.ANY
    quiet_ms: Annotated[int, Field(ge=5, le=5000)] = 50
    max_bytes: Annotated[int, Field(ge=8, le=65536)] = 256
    stale_ms: Annotated[int, Field(ge=50, le=60_000)] = 1000
    """A part older than this becomes ``Unreadable`` ("incomplete"); field practice, no source."""


class ValueField(_Strict):
    """One value of a measured line: regular-expression ``group``, quantity, unit, scale, sign, limits.

    The unit is fixed (``unit``) or read from ``unit_group`` through ``units`` (text as sent to unit symbol).
    ``scale`` multiplies the number as sent (exact decimal text). ``reserved`` lists texts that mean "no
    measurement". ``least`` and ``most`` are the device's own range, in the unit after scaling.
    """

    group: str
    quantity: Quantity
    unit: str | None = None
    unit_group: str | None = None
    units: dict[str, str] = {}
    scale: Decimal = Decimal(1)
    negate: bool = False
    decimal_mark: Literal[".", ","] = "."
    digits: Literal["decimal", "hex", "hex-low-first"] = "decimal"
    """``hex``: an unsigned number in hex digits; ``hex-low-first``: the same in byte pairs, lowest pair first."""
    reserved: tuple[str, ...] = ()
    reserved_words: str = "no target"
    least: Decimal | None = None
    most: Decimal | None = None

    @model_validator(mode="after")
    def _unit_is_known(self) -> ValueField:
        if self.quantity is Quantity.QUALITY:
            raise ValueError("a quality figure belongs in the table quality, not among the values")
        if (self.unit is None) == (self.unit_group is None):
            raise ValueError("give either unit or unit_group, not both and not neither")
        symbols = [self.unit] if self.unit is not None else list(self.units.values())
        if not symbols:
            raise ValueError("unit_group needs a table units of at least one line")
        for symbol in symbols:
            if symbol not in UNITS:
                raise ValueError(f"unit {symbol!r} is not known; known: {', '.join(filter(None, UNITS))}")
            if UNITS[symbol].quantity is not self.quantity:
                raise ValueError(f"unit {symbol!r} does not measure {self.quantity.value}")
        if self.scale <= 0:
            raise ValueError("scale must be above zero; use negate for the sign")
        return self


class QualityField(_Strict):
    """Where the quality figure stands, which way it counts, and the limit beyond which it is doubtful."""

    group: str
    direction: QualityDirection
    limit: float | None = None


class CheckRule(_Strict):
    """A check over group ``covers`` compared with group ``group`` (hex digits, most significant first)."""

    kind: Literal["xor", "sum8", "crc16-modbus"]
    group: str
    covers: str
    over: Literal["text", "hex"] = "text"
    """``hex``: the check runs over the bytes that the hex digits of ``covers`` stand for."""


class _Pattern(_Strict):
    pattern: str
    """A regular expression over the whole line (Latin-1 text without its end mark); all of it must match."""

    @field_validator("pattern")
    @classmethod
    def _compiles(cls, pattern: str) -> str:
        try:
            re.compile(pattern)
        except re.error as error:
            raise ValueError(f"not a regular expression: {error}") from error
        return pattern

    def groups(self) -> frozenset[str]:
        """Return the names of the pattern's groups."""
        return frozenset(re.compile(self.pattern).groupindex)


class MeasuredLine(_Pattern):
    """A line that carries a measurement."""

    kind: Literal["measured"]
    value: Annotated[tuple[ValueField, ...], Field(min_length=1)]
    quality: QualityField | None = None
    counter: str | None = None
    """The group that holds the device's own number; the only thing that makes a later line a repeat."""
    check: CheckRule | None = None
    held: bool = False

    @model_validator(mode="after")
    def _groups_exist(self) -> MeasuredLine:
        wanted = [field.group for field in self.value]
        wanted += [field.unit_group for field in self.value if field.unit_group is not None]
        wanted += [self.quality.group] if self.quality else []
        wanted += [self.counter] if self.counter else []
        wanted += [self.check.group, self.check.covers] if self.check else []
        if missing := sorted(set(wanted) - self.groups()):
            raise ValueError(f"pattern has no group {', '.join(missing)}")
        quantities = [field.quantity for field in self.value]
        if len(set(quantities)) != len(quantities):
            raise ValueError("two values of one quantity in one line")
        return self


class FaultLine(_Pattern):
    """A line that says "no measurement"; ``words`` maps the code group's text to words for a person."""

    kind: Literal["fault"]
    code: str | None = None
    words: dict[str, str] = {}
    otherwise: str = "the device could not measure"


class StatusLine(_Pattern):
    """A line that is understood and is no measurement; ``value`` may hold temperature or supply."""

    kind: Literal["status"]
    status: StatusKind
    value: tuple[ValueField, ...] = ()


LineRule = Annotated[MeasuredLine | FaultLine | StatusLine, Field(discriminator="kind")]


class SerialSettings(_Strict):
    """Port settings. ``dtr`` and ``rts`` are set before opening, as many boards restart on an edge."""

    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop_bits: Literal[1, 2] = 1
    flow: Literal["none", "rtscts", "xonxoff"] = "none"
    dtr: bool | None = None
    rts: bool | None = None


class GattChannel(_Strict):
    """Service and characteristics (UUID text) of a text stream over GATT."""

    service: str
    notify: str
    write: str | None = None


class Recognise(_Strict):
    """What ``axledger ports`` matches: advertised services, name pattern, USB ids, banner pattern."""

    services: tuple[str, ...] = ()
    name: str | None = None
    usb: tuple[str, ...] = ()


class Commands(_Strict):
    """Byte strings (Latin-1 text) that do something harmless; nothing else is ever sent to a device."""

    measure: str | None = None
    continuous_on: str | None = None
    continuous_off: str | None = None
    laser_on: str | None = None
    laser_off: str | None = None


class Acknowledge(_Strict):
    """What a device waits for after each measurement; sent only when the arrival is durable."""

    reply: str


class Timing(_Strict):
    """Times of the device.

    ``backlog_s``: what arrives this soon after the link is up was taken before; ``shortest_s``: faster than
    the device can measure, so also backlog; ``silent_s``: no contact after this silence (polled devices);
    ``echo_ms``: an echo stands first and within this time. Field practice, no source.
    """

    backlog_s: Annotated[float, Field(ge=0, le=60)] = 3.0
    shortest_s: Annotated[float, Field(ge=0, le=10)] = 0.0
    silent_s: Annotated[float, Field(gt=0)] | None = None
    echo_ms: Annotated[int, Field(ge=0, le=1000)] = 100
    answer_s: Annotated[float, Field(gt=0, le=60)] = 2.0


TransportName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{1,30}$")]
"""A transport's registered name: serial, socket, gatt, typed, recorded, or one that another package brings."""


class Profile(_Strict):
    """A whole device description; see the fields for their meaning."""

    schema_: Literal[1] = Field(alias="schema")
    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{1,40}$")]
    title: str
    decoder: str = "line"
    transports: Annotated[tuple[TransportName, ...], Field(min_length=1)]
    resolution: dict[Quantity, Decimal] = {}
    edge_offset_m: dict[str, float] = {}
    """Reference edges a person can choose on the device: name to offset from the rear edge, m."""
    serial: SerialSettings = SerialSettings()
    gatt: GattChannel | None = None
    recognise: Recognise = Recognise()
    framing: Framing = Framing()
    line: Annotated[tuple[LineRule, ...], Field(min_length=1)]
    commands: Commands = Commands()
    acknowledge: Acknowledge | None = None
    timing: Timing = Timing()

    @model_validator(mode="after")
    def _gatt_is_described(self) -> Profile:
        if "gatt" in self.transports and self.gatt is None:
            raise ValueError("a profile for gatt needs the table [gatt]")
        return self

    def quantities(self) -> frozenset[Quantity]:
        """Return what the device measures."""
        lines = (line for line in self.line if isinstance(line, MeasuredLine) and not line.held)
        return frozenset(field.quantity for line in lines for field in line.value)


def parse_profile(text: str, *, path: str) -> Profile:
    """Parse a profile's TOML text; raise ``BadFile`` naming every fault with its line."""
    return parse_toml(text, Profile, path=path, do=_DO)


def profile_digest(text: str) -> str:
    """Return the SHA-256 of the profile's text, hex; its name in the ledger."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def read_profile_text(file: Path) -> str:
    """Return the text of a profile file with line ends as LF, so that its digest is the same everywhere."""
    return file.read_text(encoding="utf-8").replace("\r\n", "\n")
