"""Limit sheets: limits as data, each with its source and revision.

A sheet is a TOML file. A limit names a result by its key (``trailer.axle1.squareness``); a ``*`` in a part of the
key stands for anything within that part (``*.steer.toe.total``, ``tractor.drive*.squareness``). No two limits of a
sheet may fit the same key. Shipped sheets are examples and say so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fnmatch import fnmatchcase
from functools import cache
from itertools import combinations
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from axledger.contract.errors import BadFile, BadInput
from axledger.contract.quantity import Quantity, to_si, unit_named
from axledger.contract.toml_file import line_of, parse_toml
from axledger.geometry.conformity import Rule

__all__ = ["Limit", "LimitSheet", "parse_limit_sheet"]

_DO = "mend the named lines, then run `axledger limits check FILE`"
_ALLOWED = "one limit for each result"
_ANGLES = (
    frozenset(
        {
            "toe.total",
            "toe.left",
            "toe.right",
            "steering",
            "steering.difference",
            "squareness",
            "squareness.own",
            "thrust",
            "parallelism",
        },
    )
    .union(f"{quantity}.{of}" for quantity in ("camber", "caster", "kpi") for of in ("left", "right", "difference"))
    .union(
        ("pitch",), (f"{quantity}.{way}" for quantity in ("toe-out-on-turns", "ackermann") for way in ("left", "right"))
    )
)
_LENGTHS = frozenset(
    {"toe.length", "offset", "spacing", "wheelbase.left", "wheelbase.right", "wheelbase.difference"},
)

Text = Annotated[str, Field(min_length=1)]
Key = Annotated[str, Field(pattern=r"^[a-z0-9*?-]+(\.[a-z0-9*?-]+){2,3}$")]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Limit(_Strict):
    """A limit on every result whose key fits ``key``: from ``lower`` to ``upper``, in ``unit``, both included.

    ``source`` is where it comes from and ``revision`` which edition; a limit without them is not accepted.
    """

    key: Key
    unit: Literal["deg", "mm", "mm/m"]
    lower: Decimal | None = None
    upper: Decimal | None = None
    source: Text
    revision: Text
    note: str = ""

    @model_validator(mode="after")
    def _is_a_limit(self) -> Limit:
        if self.lower is None and self.upper is None:
            raise ValueError("a limit has lower, upper or both")
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError("lower must be less than upper")
        return self

    @model_validator(mode="after")
    def _unit_measures_the_result(self) -> Limit:
        result = self.key.split(".", 2)[2]
        if result not in _ANGLES | _LENGTHS:
            known = ", ".join(sorted(_ANGLES | _LENGTHS))
            raise ValueError(f"there is no result {result!r}; after unit and axle a key ends in one of: {known}")
        wanted = Quantity.LENGTH if result in _LENGTHS else Quantity.INCLINATION
        if unit_named(self.unit).quantity is not wanted:
            raise ValueError(f"{result} is {'a length: mm' if result in _LENGTHS else 'an angle: deg or mm/m'}")
        return self

    @property
    def lower_si(self) -> float | None:
        """Return the lower limit in metres or radians, or ``None``."""
        return None if self.lower is None else to_si(self.lower, unit_named(self.unit))

    @property
    def upper_si(self) -> float | None:
        """Return the upper limit in metres or radians, or ``None``."""
        return None if self.upper is None else to_si(self.upper, unit_named(self.unit))

    def fits(self, key: str) -> bool:
        """Return whether the limit speaks of the result ``key``."""
        mine, parts = self.key.split("."), key.split(".")
        return len(mine) == len(parts) and all(map(fnmatchcase, parts, mine))


class LimitSheet(_Strict):
    """A set of limits and the decision ``rule`` they are judged by. ``example`` marks invented or quoted values."""

    schema_: Literal[1] = Field(alias="schema")
    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{1,40}$")]
    title: Text
    example: bool = False
    rule: Rule = Rule.GUARD_95
    limit: Annotated[tuple[Limit, ...], Field(min_length=1)]

    @property
    def decision_rule(self) -> Rule:
        """Return the decision rule in force."""
        return self.rule

    def limit_for(self, key: str) -> Limit | None:
        """Return the limit of a result, or ``None``; raise ``BadInput`` where two limits fit it."""
        fitting = [limit for limit in self.limit if limit.fits(key)]
        if len(fitting) > 1:
            raise BadInput(
                f"limit sheet {self.name} has two limits for {key}",
                found=" and ".join(limit.key for limit in fitting),
                allowed=_ALLOWED,
                do="take one of the two out of the sheet",
            )
        return fitting[0] if fitting else None


def parse_limit_sheet(text: str, *, path: str) -> LimitSheet:
    """Parse a limit sheet's TOML text; raise ``BadFile`` naming every fault with its line.

    Two limits that fit one key are a fault too, shown at the later one.
    """
    sheet = parse_toml(text, LimitSheet, path=path, do=_DO)
    lines = [line_of(text, "limit", number) for number in range(len(sheet.limit))]
    if faults := list(_overlaps(sheet.limit, lines)):
        raise BadFile(path, faults, allowed=_ALLOWED, do=_DO)
    return sheet


def _overlaps(limits: Sequence[Limit], lines: Sequence[int]) -> Iterator[tuple[int, str]]:
    for first, second in combinations(range(len(limits)), 2):
        mine, other = limits[first].key, limits[second].key
        if _share_a_key(mine, other):
            yield lines[second], f"{other} and {mine} (line {lines[first]}) fit the same result"


def _share_a_key(first: str, second: str) -> bool:
    mine, other = first.split("."), second.split(".")
    return len(mine) == len(other) and all(map(_share_a_part, mine, other))


@cache
def _share_a_part(first: str, second: str) -> bool:
    """Return whether some text fits both patterns, in which ``*`` stands for any text and ``?`` for one letter."""
    if first.startswith("*"):
        return _share_a_part(first[1:], second) or (bool(second) and _share_a_part(first, second[1:]))
    if second.startswith("*"):
        return _share_a_part(second, first)
    if not first or not second:
        return first == second
    return (first[0] == second[0] or "?" in (first[0], second[0])) and _share_a_part(first[1:], second[1:])
