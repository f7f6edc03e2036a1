"""Canonical JSON against the test data of the author of RFC 8785 (2020).

Source: public repository cyberphone/json-canonicalization, testdata; numbers also RFC 8785 appendix B.
"""

from __future__ import annotations

import hashlib
import json
import struct

import pytest

from axledger.contract.errors import BadInput
from axledger.ledger.canonical import canonical, parse

VALUES_IN = (
    '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
    '"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/","literals":[null,true,false]}'
)
VALUES_OUT = (
    '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
)
STRUCTURES_IN = '{"1":{"f":{"f":"hi","F":5},"\\n":56.0},"10":{},"":"empty","a":{},"111":[{"e":"yes","E":"no"}],"A":{}}'
STRUCTURES_OUT = '{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}'


def test_values() -> None:
    data = canonical(json.loads(VALUES_IN))
    assert data.decode("utf-8") == VALUES_OUT
    assert len(data) == 118
    expected = "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
    assert hashlib.sha256(data).hexdigest() == expected


def test_structures() -> None:
    data = canonical(json.loads(STRUCTURES_IN))
    assert data.decode("utf-8") == STRUCTURES_OUT
    assert len(data) == 98
    expected = "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5"
    assert hashlib.sha256(data).hexdigest() == expected


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("4340000000000001", "9007199254740994"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("8000000000000000", "0"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("0000000000000001", "5e-324"),
    ],
)
def test_numbers_by_their_bits(bits: str, text: str) -> None:
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical({"n": value}) == f'{{"n":{text}}}'.encode()
    assert parse(text) == value


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_not_a_number_and_infinity_are_errors(bits: str) -> None:
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(BadInput):
        canonical({"n": value})
