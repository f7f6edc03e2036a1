from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any, cast

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.errors import BadInput
from axledger.ledger.canonical import DEEPEST, JsonValue, canonical, parse

SAFE = 2**53 - 1
TEXT = st.text(st.characters(exclude_categories=["Cs"]))
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-SAFE, SAFE) | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)
BODIES = st.dictionaries(TEXT | st.sampled_from(["kind", "job", "raw"]), JSON, max_size=6)


@given(BODIES)
def test_the_quick_way_writes_what_the_general_way_writes(body: dict[str, JsonValue]) -> None:
    assert canonical(body) == rfc8785.dumps(cast("Any", body))


@given(BODIES)
def test_what_is_read_back_writes_the_same_bytes_again(body: dict[str, JsonValue]) -> None:
    data = canonical(body)
    stored = parse(data.decode("utf-8"))
    assert isinstance(stored, dict)
    assert stored == body
    assert canonical(stored) == data


def test_a_large_float_comes_back_as_a_float() -> None:
    stored = parse(canonical({"n": 1e17}).decode())
    assert stored == {"n": 1e17}
    assert isinstance(stored, dict)
    assert isinstance(stored["n"], float)


def test_text_enumerations_are_text() -> None:
    class Side(StrEnum):
        LEFT = "left"

    assert canonical({"side": Side.LEFT}) == b'{"side":"left"}'


def nested(depth: int) -> Any:
    value: Any = "x"
    for _ in range(depth):
        value = [value]
    return value


CYCLE: dict[str, Any] = {}
CYCLE["again"] = CYCLE


@pytest.mark.parametrize(
    ("body", "place", "why"),
    [
        ({"values": [{"si": 1.0}, {"si": float("nan")}]}, "body.values[1].si", "not a finite number"),
        ({"a": float("inf")}, "body.a", "not a finite number"),
        ({"raw": "ok\ud800"}, "body.raw", "lone surrogate"),
        ({"a": {"\udc00": 1}}, "body.a", "lone surrogate"),
        ({"counter": 2**53}, "body.counter", "beyond 2^53 - 1"),
        ({"counter": [-(2**70)]}, "body.counter[0]", "beyond 2^53 - 1"),
        ({"raw": b"\x00"}, "body.raw", "type bytes"),
        ({"a": {1: "x"}}, "body.a", "no text"),
        ({"a": {None: 1, "b": 2}}, "body.a", "no text"),
        ({"a": {1: "x", "1": "x"}}, "body.a", "no text"),
        ({"deep": nested(DEEPEST)}, "body.deep", "nested deeper"),
        ({"deep": nested(5000)}, "body.deep", "nested deeper"),
        (CYCLE, "body.again", "nested deeper"),
    ],
)
def test_what_cannot_be_written_is_refused_with_its_place(body: Mapping[str, Any], place: str, why: str) -> None:
    with pytest.raises(BadInput) as caught:
        canonical(body)
    assert caught.value.found.startswith(place)
    assert why in caught.value.found


def test_the_deepest_allowed_body_is_written() -> None:
    body = {"deep": nested(DEEPEST - 1)}
    assert parse(canonical(body).decode()) == body


def test_many_brackets_are_no_depth() -> None:
    body: dict[str, JsonValue] = {"text": "[" * 200, "list": [[] for _ in range(100)]}
    assert parse(canonical(body).decode()) == body


@pytest.mark.parametrize("text", ["", "{", "[NaN]", "[Infinity]", "{} {}", "[" * 5000, "9" * 5000 + "]"])
def test_text_that_is_no_json_is_a_value_error(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - the words come from the standard library
        parse(text)
