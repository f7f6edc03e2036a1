from __future__ import annotations

import hashlib
from decimal import Decimal
from pathlib import Path

import pytest

from axledger.contract.errors import BadFile
from axledger.contract.profile import LineEnd, MeasuredLine, parse_profile, profile_digest, read_profile_text
from axledger.contract.quantity import Quantity

GOOD = """\
schema = 1
name = "own-metre"
title = "example of our own"
transports = ["recorded"]

[framing]
end = "cr"

[[line]]
kind = "status"
pattern = "ok"
status = "acknowledgement"

[[line]]
kind = "measured"
pattern = '(?P<k>[0-9]+) (?P<n>[0-9.]+)(?P<u>m|mm)\\*(?P<c>..)'
counter = "k"

  [[line.value]]
  group = "n"
  quantity = "length"
  unit_group = "u"
  scale = "0.1"

    [line.value.units]
    m = "m"
    mm = "mm"

  [line.quality]
  group = "k"
  direction = "big is good"

  [line.check]
  kind = "xor"
  group = "c"
  covers = "n"
"""


def test_good_profile() -> None:
    profile = parse_profile(GOOD, path="own-metre.toml")
    assert profile.quantities() == {Quantity.LENGTH}
    assert profile.framing.end is LineEnd.CR
    assert isinstance(line := profile.line[1], MeasuredLine)
    assert line.value[0].scale == Decimal("0.1")


@pytest.mark.parametrize(
    ("old", "new", "marked", "words"),
    [
        ("schema = 1", "schema = 2", "schema = 2", "1"),
        ('name = "own-metre"', 'name = "Own Metre"', "name =", "pattern"),
        ('title = "example of our own"\n', "", None, "title"),
        ('["recorded"]', "[]", "transports", "at least 1"),
        ('["recorded"]', '["Carrier Pigeon"]', "transports", "pattern"),
        ('["recorded"]', '["gatt"]', None, "[gatt]"),
        ('end = "cr"', 'end = "tab"', 'end = "tab"', "crlf"),
        ('end = "cr"', 'end = "cr"\nspeed = 9', "speed = 9", "Extra"),
        ('pattern = "ok"', 'pattern = "o("', 'pattern = "o("', "regular expression"),
        ('status = "acknowledgement"', 'status = "fine"', 'status = "fine"', "banner"),
        ('kind = "status"', 'kind = "stat"', "[[line]]", "status"),
        ('counter = "k"', 'counter = "z"', "[[line]]@2", "no group z"),
        ('quantity = "length"', 'quantity = "weight"', "quantity =", "length"),
        ('quantity = "length"', 'quantity = "inclination"', "[[line.value]]", "does not measure"),
        ('quantity = "length"', 'quantity = "quality"', "[[line.value]]", "table quality"),
        ('unit_group = "u"', 'unit_group = "u"\n  unit = "m"', "[[line.value]]", "not both"),
        ('    mm = "mm"', '    mm = "furlong"', "[[line.value]]", "not known"),
        ('scale = "0.1"', 'scale = "-1"', "[[line.value]]", "above zero"),
        ('scale = "0.1"', 'scale = "x"', "scale =", "decimal"),
        ('direction = "big is good"', 'direction = "good"', "direction =", "small is good"),
        ('kind = "xor"', 'kind = "crc"', 'kind = "crc"', "crc16-modbus"),
        ('  covers = "n"', '  covers = "n"\n  extra = 1', "extra = 1", "Extra"),
        ("[framing]", "[framing", "[framing", "TOML"),
    ],
)
def test_each_fault_names_its_line(old: str, new: str, marked: str | None, words: str) -> None:
    """``marked`` begins the line that must be named (``@2``: its second place); ``None``: there is no such line."""
    assert old in GOOD
    text = GOOD.replace(old, new, 1)
    expected = 0
    if marked is not None:
        start, _, place = marked.partition("@")
        numbers = [n for n, line in enumerate(text.splitlines(), start=1) if line.strip().startswith(start)]
        expected = numbers[int(place or 1) - 1]
    with pytest.raises(BadFile) as error:
        parse_profile(text, path="own-metre.toml")
    assert any(line == expected and words in fault for line, fault in error.value.faults), error.value.faults


def test_all_faults_are_gathered() -> None:
    text = GOOD.replace("schema = 1", "schema = 2").replace('end = "cr"', 'end = "tab"')
    with pytest.raises(BadFile) as error:
        parse_profile(text, path="own-metre.toml")
    assert [line for line, _ in error.value.faults] == [1, 7]


def test_two_values_of_one_quantity() -> None:
    second = '\n  [[line.value]]\n  group = "k"\n  quantity = "length"\n  unit = "m"\n\n  [line.quality]'
    with pytest.raises(BadFile, match="two values of one quantity"):
        parse_profile(GOOD.replace("\n  [line.quality]", second), path="own-metre.toml")


def test_held_lines_measure_nothing() -> None:
    text = GOOD.replace('counter = "k"', 'counter = "k"\nheld = true')
    assert parse_profile(text, path="own-metre.toml").quantities() == frozenset()


def test_digest_does_not_depend_on_line_ends(tmp_path: Path) -> None:
    file = tmp_path / "own-metre.toml"
    file.write_bytes(GOOD.replace("\n", "\r\n").encode())
    assert profile_digest(read_profile_text(file)) == hashlib.sha256(GOOD.encode()).hexdigest()
