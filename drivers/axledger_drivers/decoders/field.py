"""One field of a line: from the text as sent to a value, or to the reason why there is none."""

from __future__ import annotations

import re
from fractions import Fraction

from axledger.contract.errors import BadInput
from axledger.contract.frame import DeviceFault, Unreadable, Value
from axledger.contract.number_text import parse_angle, parse_length, plain_number
from axledger.contract.profile import ValueField
from axledger.contract.quantity import UNITS, Quantity, Unit, to_si

__all__ = ["decoded", "exact_number", "read_value"]

_MINUS = "\u2212"
_SIGN_GAP = re.compile(r"([+-])[ \u00a0]+(?=[0-9])")
_GROUP_BLANK = re.compile(r"(?<=[0-9])[\u00a0\u202f\u2009](?=[0-9]{3}(?![0-9]))")
_COMPOSITE = re.compile(r"['\"/\u2032\u2033\u2044\u00b0\u00ba]")
_COMPOSITE_PARSERS = {Quantity.LENGTH: parse_length, Quantity.INCLINATION: parse_angle}


def decoded(text: str) -> str:
    """Return the Latin-1 ``text`` of a line as UTF-8 where it is UTF-8, unchanged otherwise."""
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text


def read_value(field: ValueField, match: re.Match[str]) -> Value | DeviceFault | Unreadable | None:
    """Read ``field`` from a matched line; ``None`` where an optional group took no part.

    A reserved text is a ``DeviceFault``, a value outside the device's own range or no number ``Unreadable``.
    """
    raw = match[field.group]
    if raw is None:
        return None
    text = decoded(raw).strip()
    if _reserved(text, field):
        return DeviceFault(code=text, words=field.reserved_words)
    unit = _unit(field, match)
    if isinstance(unit, Unreadable):
        return unit
    number = exact_number(text, field, unit)
    if isinstance(number, str):
        return Unreadable(number)
    size, step = number[0] * Fraction(field.scale), number[1] * Fraction(field.scale)
    if (field.least is not None and size < field.least) or (field.most is not None and size > field.most):
        reach = f"{_bound(field.least)} to {_bound(field.most)} {unit.symbol}".strip()
        return Unreadable(f"{text} is outside the device's own range, {reach}")
    return Value(
        quantity=field.quantity,
        si=to_si(-size if field.negate else size, unit),
        text=text,
        unit=unit.symbol,
        resolution_si=_resolution_si(size, step, unit),
    )


def exact_number(text: str, field: ValueField, unit: Unit) -> tuple[Fraction, Fraction] | str:
    """Return ``(number, step of its last digit)`` in ``unit`` before scaling, or in words why it is no number."""
    if field.digits != "decimal":
        return _hex_number(text, low_first=field.digits == "hex-low-first")
    tidy = _SIGN_GAP.sub(r"\1", _GROUP_BLANK.sub("", text.replace(_MINUS, "-")))
    if number := plain_number(tidy, field.decimal_mark):
        return number
    if _COMPOSITE.search(text) and unit.quantity in _COMPOSITE_PARSERS and not unit.slope:
        return _composite(text, unit)
    return f"{text!r} is not a plain number with the decimal mark {field.decimal_mark!r}"


def _composite(text: str, unit: Unit) -> tuple[Fraction, Fraction] | str:
    """Read what has more than one part, such as ``14' 2 1/16"`` or ``-0°22'12"``, in ``unit``."""
    try:
        number = _COMPOSITE_PARSERS[unit.quantity](text).in_unit(unit)
    except BadInput as error:
        return f"{error.what}; allowed: {error.allowed}"
    return number.number, number.step


def _hex_number(text: str, *, low_first: bool) -> tuple[Fraction, Fraction] | str:
    if not re.fullmatch(r"(?:[0-9A-Fa-f]{2}){1,8}" if low_first else r"[0-9A-Fa-f]{1,16}", text):
        return f"{text!r} is not a number in hex digits"
    number = int.from_bytes(bytes.fromhex(text), "little") if low_first else int(text, 16)
    return Fraction(number), Fraction(1)


def _reserved(text: str, field: ValueField) -> bool:
    """Tell whether ``text`` is reserved, as text or as the same number with other zeros around it."""
    if text in field.reserved:
        return True
    number = plain_number(text, field.decimal_mark)
    marks = (plain_number(mark, field.decimal_mark) for mark in field.reserved)
    return number is not None and any(mark is not None and mark[0] == number[0] for mark in marks)


def _unit(field: ValueField, match: re.Match[str]) -> Unit | Unreadable:
    if field.unit_group is None:
        return UNITS[field.unit or ""]
    sent = (match[field.unit_group] or "").strip()
    symbol = field.units.get(sent, field.units.get(decoded(sent)))
    if symbol is None:
        return Unreadable(f"unit {decoded(sent)!r} is not in the profile, which knows {', '.join(field.units)}")
    return UNITS[symbol]


def _resolution_si(number: Fraction, step: Fraction, unit: Unit) -> float:
    """Return one step in SI; a slope's step is taken on the tangent there, d(atan t) = dt / (1 + t^2)."""
    step_si = float(step * unit.factor)
    if not unit.slope:
        return step_si
    tangent = float(number * unit.factor)
    return step_si / (1 + tangent * tangent)


def _bound(bound: object) -> str:
    return "any" if bound is None else str(bound)
