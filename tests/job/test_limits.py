from __future__ import annotations

import itertools
import math
from decimal import Decimal
from fnmatch import fnmatchcase

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axledger.contract.errors import BadFile, BadInput
from axledger.geometry.conformity import Rule
from axledger.geometry.results import evaluate
from axledger.job.library import layout_names, load_layout, load_limit_sheet
from axledger.job.limits import Limit, LimitSheet, parse_limit_sheet
from axledger.job.model import build_model

HEAD = 'schema = 1\nname = "own"\ntitle = "Own"\n'
GOOD = """
[[limit]]
key = "{key}"
unit = "{unit}"
lower = -0.5
upper = 2.5
source = "own paper"
revision = "3"
"""


def parsed(*limits: str) -> LimitSheet:
    return parse_limit_sheet(HEAD + "".join(limits), path="own.toml")


def faults(*limits: str, head: str = HEAD) -> tuple[tuple[int, str], ...]:
    with pytest.raises(BadFile) as caught:
        parse_limit_sheet(head + "".join(limits), path="own.toml")
    return caught.value.faults


def result_keys(layout: str) -> list[str]:
    model = build_model(load_layout(layout), [], [], meter=None, inclinometer=None)
    return [formula.key for unit in model.units for formula in evaluate(unit, np.asarray(model.prior))]


@pytest.mark.parametrize(
    ("key", "unit", "lower", "upper"),
    [
        ("a.b.offset", "mm", -0.0005, 0.0025),  # exact decimal shift
        ("a.b.squareness", "deg", -0.5 * math.pi / 180, 2.5 * math.pi / 180),  # computed by definition
        ("a.b.thrust", "mm/m", math.atan(-0.0005), math.atan(0.0025)),  # computed: a slope is a tangent
    ],
)
def test_limits_are_kept_in_si(key: str, unit: str, lower: float, upper: float) -> None:
    limit = parsed(GOOD.format(key=key, unit=unit)).limit_for(key)
    assert limit is not None
    assert limit.lower_si is not None
    assert limit.upper_si is not None
    assert math.isclose(limit.lower_si, lower, rel_tol=1e-15)
    assert math.isclose(limit.upper_si, upper, rel_tol=1e-15)
    assert (limit.source, limit.revision) == ("own paper", "3")


def test_one_side_is_enough() -> None:
    text = GOOD.format(key="a.b.spacing", unit="mm").replace("lower = -0.5\n", "")
    limit = parsed(text).limit_for("a.b.spacing")
    assert limit is not None
    assert limit.lower_si is None
    assert limit.upper_si == 0.0025


def test_the_rule_is_guarded_unless_said_otherwise() -> None:
    good = GOOD.format(key="a.b.offset", unit="mm")
    assert parsed(good).decision_rule is Rule.GUARD_95
    for rule in Rule:
        head = f'{HEAD}rule = "{rule.value}"\n'
        assert parse_limit_sheet(head + good, path="own.toml").decision_rule is rule
    assert not parsed(good).example


@pytest.mark.parametrize(
    ("pattern", "key", "fits"),
    [
        ("*.steer.toe.total", "tractor.steer.toe.total", True),
        ("*.steer.toe.total", "tractor.steer.toe.left", False),
        ("*.drive*.squareness", "tractor.drive2.squareness", True),
        ("*.drive*.squareness", "tractor.drive.squareness", True),
        ("*.drive*.squareness", "tractor.steer.squareness", False),
        ("trailer.axle?.offset", "trailer.axle3.offset", True),
        ("trailer.axle?.offset", "trailer.axle10.offset", False),
        # a star stays within its part
        ("*.*.squareness", "a.b.c.squareness", False),
    ],
)
def test_a_star_stands_for_anything_within_a_part(pattern: str, key: str, fits: bool) -> None:
    unit = "mm" if pattern.endswith("offset") else "deg"
    assert (parsed(GOOD.format(key=pattern, unit=unit)).limit_for(key) is not None) is fits


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('key = "a.b.offset"', 'key = "offset"', 6, "pattern"),
        ('key = "a.b.offset"', 'key = "a.b.ofset"', 5, "there is no result 'ofset'"),
        ('unit = "mm"', 'unit = "deg"', 5, "offset is a length: mm"),
        ('key = "a.b.offset"', 'key = "a.b.toe.left"', 5, "toe.left is an angle: deg or mm/m"),
        ('unit = "mm"', 'unit = "in"', 7, "'deg', 'mm' or 'mm/m'"),
        ("lower = -0.5\nupper = 2.5\n", "", 5, "lower, upper or both"),
        ("upper = 2.5", "upper = -0.5", 5, "lower must be less than upper"),
        ("upper = 2.5", "upper = nan", 9, "finite"),
        ('source = "own paper"\n', "", 5, "Field required"),
        ('source = "own paper"', 'source = ""', 10, "at least 1 character"),
        ('revision = "3"\n', "", 5, "Field required"),
        ('revision = "3"', 'revision = "3"\ncolour = "x"', 12, "Extra inputs"),
    ],
)
def test_a_fault_is_named_with_its_line(old: str, new: str, line: int, words: str) -> None:
    good = GOOD.format(key="a.b.offset", unit="mm")
    assert old in good
    [(found, text)] = faults(good.replace(old, new))
    assert found == line
    assert words in text


def test_all_faults_are_named_at_once() -> None:
    bad = GOOD.format(key="a.b.ofset", unit="mm")
    assert [line for line, _ in faults(bad, bad, head=HEAD + 'rule = "guess"\n')] == [4, 6, 14]


def test_a_sheet_that_is_not_toml_or_empty_is_refused() -> None:
    assert faults("[[limit]\n")[0][0] == 4
    assert faults() == ((0, "limit: Field required"),)


def test_two_limits_for_one_result_are_named_with_both_lines() -> None:
    first, second = GOOD.format(key="*.steer.squareness", unit="deg"), GOOD.format(key="a.st*.squareness", unit="deg")
    assert faults(first, second) == ((13, "a.st*.squareness and *.steer.squareness (line 5) fit the same result"),)
    assert faults(first, first)[0][0] == 13
    # a sheet that was put together without its file still never gives one of two limits
    limits = (*parsed(first).limit, *parsed(second).limit)
    sheet = LimitSheet(schema=1, name="own", title="Own", limit=limits)
    with pytest.raises(BadInput, match="two limits"):
        sheet.limit_for("a.steer.squareness")
    assert sheet.limit_for("b.steer.squareness") == limits[0]


def test_a_sheet_can_be_written_down_and_read_again() -> None:
    sheet = load_limit_sheet("example-fleet")
    again = LimitSheet.model_validate(sheet.model_dump(mode="json", by_alias=True, exclude_none=True))
    assert again == sheet


@pytest.mark.parametrize(
    ("layout", "sheet"),
    [
        *((layout, "example-fleet") for layout in layout_names()),
        *((layout, "example-tractor") for layout in ("tractor-4x2", "tractor-6x4", "rigid-6x4")),
        *((layout, "example-trailer") for layout in ("semitrailer-1axle", "semitrailer-2axle", "semitrailer-3axle")),
    ],
)
def test_the_examples_cover_every_result_but_those_that_only_describe(layout: str, sheet: str) -> None:
    limits = load_limit_sheet(sheet)
    without = [key for key in result_keys(layout) if limits.limit_for(key) is None]
    described = ("toe.length", "steering", "wheelbase.left", "wheelbase.right")
    assert [key for key in without if not key.endswith(described)] == []


@pytest.mark.parametrize(
    ("key", "inch"),
    [
        # TM 9-2330-342-23&P WP 0060 (2012): 0.125 in between the ends, taken at 2000 mm
        ("trailer.axle1.squareness", 0.125),
        # TB 9-2510-242-40 paragraph b: 1/16 in, taken at 2000 mm
        ("trailer.axle2.parallelism", 1 / 16),
        # TTMA RP No. 71 as quoted second-hand: 1/16 in between axle ends, taken at 2000 mm
        ("trailer.axle3.parallelism", 1 / 16),
    ],
)
def test_quoted_limits_are_the_angles_of_their_inches(key: str, inch: float) -> None:
    limit = load_limit_sheet("example-trailer").limit_for(key)
    assert limit is not None
    assert limit.upper_si is not None
    # the sheet states four decimals
    assert abs(math.degrees(limit.upper_si) - math.degrees(math.atan(inch * 25.4 / 2000))) < 5.1e-5
    assert limit.lower_si == -limit.upper_si


def test_every_shipped_limit_is_quoted_or_says_that_it_is_invented() -> None:
    for name in ("example-fleet", "example-tractor", "example-trailer"):
        for limit in load_limit_sheet(name).limit:
            assert limit.source == "invented for this example" or limit.note


PATTERN = st.text(alphabet="ab*?", min_size=1, max_size=4)


@given(first=PATTERN, second=PATTERN)
def test_overlap_is_found_exactly_when_some_key_fits_both(first: str, second: str) -> None:
    # second method: try every part of up to eight letters that the two patterns could share
    keys = ("".join(letters) for size in range(1, 9) for letters in itertools.product("ab", repeat=size))
    shared = any(fnmatchcase(key, first) and fnmatchcase(key, second) for key in keys)
    limits = [GOOD.format(key=f"{part}.axle.offset", unit="mm") for part in (first, second)]
    if shared:
        assert len(faults(*limits)) == 1
    else:
        assert len(parsed(*limits).limit) == 2


def test_a_limit_speaks_of_keys_of_its_own_length_only() -> None:
    limit = Limit(key="*.steer.toe.total", unit="deg", lower=None, upper=Decimal(1), source="own", revision="1")
    assert not limit.fits("steer.toe.total")
    assert limit.fits("a.steer.toe.total")
