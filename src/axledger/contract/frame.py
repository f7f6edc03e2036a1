"""Frames: what a decoder makes of bytes.

A frame is the exact raw bytes plus one outcome. The frames of a link, joined, equal the bytes fed: no byte is
lost, whatever it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from axledger.contract.quantity import Quantity

__all__ = [
    "DeviceFault",
    "Echo",
    "Frame",
    "Measured",
    "Outcome",
    "Quality",
    "QualityDirection",
    "Status",
    "StatusKind",
    "Unreadable",
    "Value",
]


class QualityDirection(Enum):
    """Whether a large or a small figure means a good measurement; devices differ."""

    BIG_IS_GOOD = "big is good"
    SMALL_IS_GOOD = "small is good"


@dataclass(frozen=True, slots=True)
class Quality:
    """A quality figure as sent, its direction, and the profile's limit (``None``: no limit stated)."""

    figure: float
    direction: QualityDirection
    limit: float | None = None

    @property
    def doubtful(self) -> bool:
        """Tell whether the figure lies on the wrong side of the limit."""
        if self.limit is None:
            return False
        if self.direction is QualityDirection.BIG_IS_GOOD:
            return self.figure < self.limit
        return self.figure > self.limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One measured value.

    ``text`` is the number as sent, ``unit`` its unit symbol as sent (or as the profile states it),
    ``si`` the value in SI (m or rad), ``resolution_si`` one step of the last digit in SI.
    """

    quantity: Quantity
    si: float
    text: str
    unit: str
    resolution_si: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measurement; ``values`` holds at most one value per quantity.

    ``quality`` is ``None`` where the device sends none ("quality unknown", never "good"). ``counter`` is the
    device's own number as text, ``held`` marks a stored, summed or maximum value instead of a live one.
    """

    values: tuple[Value, ...]
    quality: Quality | None = None
    counter: str | None = None
    held: bool = False

    def value(self, quantity: Quantity) -> Value | None:
        """Return the value of ``quantity`` or ``None``."""
        return next((value for value in self.values if value.quantity is quantity), None)


@dataclass(frozen=True, slots=True)
class DeviceFault:
    """The device says that it could not measure: its code as sent and words for a person."""

    code: str
    words: str


class StatusKind(Enum):
    """Kinds of lines that carry no measurement."""

    ACKNOWLEDGEMENT = "acknowledgement"
    BANNER = "banner"
    BATTERY = "battery"
    TEMPERATURE = "temperature"
    RESTATEMENT = "restatement"
    LOG = "log"
    BLANK = "blank"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Status:
    """A line that is understood and is no measurement; ``values`` may hold temperature or supply."""

    kind: StatusKind
    text: str
    values: tuple[Value, ...] = ()


@dataclass(frozen=True, slots=True)
class Echo:
    """A full or partial copy of what was sent to the device."""

    of: bytes


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Bytes that match nothing the profile knows; ``why`` in words for a person."""

    why: str


Outcome = Measured | DeviceFault | Status | Echo | Unreadable


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Exact raw bytes, the monotonic time of their last byte in ns, and one outcome."""

    raw: bytes
    at_ns: int
    outcome: Outcome
