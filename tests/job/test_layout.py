"""Layouts: what a file may say. The layout here is invented."""

from __future__ import annotations

import pytest

from axledger.contract.errors import BadFile
from axledger.job.layout import Layout, clash_of, parse_layout, stations_of
from axledger.job.settings import DEFAULT_SETTINGS, MountKind

GOOD = """\
schema = 1
name = "own"
title = "Own"
source = "invented"

[[unit]]
id = "truck"
name = "truck"
kind = "powered"
reference = "frame"

[[unit.axle]]
code = "S1"
id = "steer"
name = "steer axle"
kind = "steer"
x_m = 0.0
group = "front"
wheel_half_m = 1.0
pivot_half_m = 0.8

[[unit.axle]]
code = "D1"
id = "drive"
name = "drive axle"
kind = "driven"
x_m = -4.0
group = "rear"
wheel_half_m = 0.9

[[unit.mount]]
kind = "straightedge"
axle = "S1"
half_span_m = 1.25
half_length_m = 0.6

[[unit.mount]]
kind = "hub"
axle = "D1"
half_span_m = 1.35

[[unit.mount]]
kind = "rail"
code = "F0"
x_m = 0.9
half_span_m = 0.45

[[unit.mount]]
kind = "rail"
code = "F2"
x_m = -3.0
half_span_m = 0.47

[[unit.mount]]
kind = "floor"
code = "G"
x_m = -2.0
half_span_m = 1.7
height_m = 0.0

[[unit.solid]]
kind = "tyre"
name = "left tyre"
x_m = 0.0
z_m = 0.49
radius_m = 0.52
y_m = [0.9, 1.2]

[[unit.solid]]
kind = "box"
name = "tank"
x_m = [-2.0, -1.0]
y_m = [0.5, 1.2]
z_m = [0.3, 0.7]

[[unit.stand]]
at = "G"
tilts = ["along", "across"]

[[unit.stand]]
at = "D1Lh"
turn = ["D1Lh"]
shots = [{ to = "S1Lh" }, { start = "F2L", to = "F0L", fold = ["S1L"], spare = true }]
"""


def line_of(words: str, times: int = 1) -> int:
    """The number of the line of ``GOOD`` that holds ``words``, at its first or later occurrence."""
    return [number for number, line in enumerate(GOOD.splitlines(), start=1) if words in line][times - 1]


def faults(text: str) -> tuple[tuple[int, str], ...]:
    with pytest.raises(BadFile) as caught:
        parse_layout(text, path="own.toml")
    return caught.value.faults


UNIT = line_of("[[unit]]")
STEER, DRIVE = line_of("[[unit.axle]]"), line_of("[[unit.axle]]", 2)
STRAIGHTEDGE, HUB, RAIL = (line_of("[[unit.mount]]", times) for times in (1, 2, 3))

CASES = [
    # what is changed to what, the line that must be named, words of the fault
    ('name = "own"', 'name = "Own Layout"', line_of('name = "own"'), "should match pattern"),
    ('code = "D1"', 'code = "drive"', line_of('code = "D1"'), "should match pattern"),
    ('kind = "driven"', 'kind = "pulled"', line_of('kind = "driven"'), "'steer', 'driven' or 'carrying'"),
    ("wheel_half_m = 0.9", "wheel_half_m = 900", line_of("wheel_half_m = 0.9"), "less than 2"),
    ("wheel_half_m = 0.9", 'colour = "x"\nwheel_half_m = 0.9', line_of("wheel_half_m = 0.9"), "Extra inputs"),
    ('group = "rear"\n', "", DRIVE, "Field required"),
    ("pivot_half_m = 0.8\n", "", STEER, "every steer axle needs it"),
    ("wheel_half_m = 0.9", "wheel_half_m = 0.9\npivot_half_m = 0.8", DRIVE, "pivot_half_m belongs to steer axles"),
    ('axle = "D1"\n', "", HUB, "a hub mount names its axle"),
    ('axle = "D1"', 'axle = "D1"\nx_m = 1.0', HUB, "and neither code nor x_m"),
    ('code = "F0"\nx_m = 0.9\n', 'axle = "D1"\n', RAIL, "a rail mount has code and x_m"),
    ("half_length_m = 0.6\n", "", STRAIGHTEDGE, "every straightedge needs it"),
    ("half_span_m = 1.35", "half_span_m = 1.35\nhalf_length_m = 0.6", HUB, "half_length_m belongs to straightedges"),
    ("half_span_m = 1.35\n", "", HUB, "half_span_m must be above zero"),
    ("half_span_m = 1.35", "half_span_m = 1.35\nsetting = { bias = -1 }", line_of("half_span_m = 1.35") + 1, "bias"),
    ("y_m = [0.9, 1.2]", "y_m = [1.2, 0.9]", line_of("[[unit.solid]]"), "least first"),
    ("z_m = [0.3, 0.7]", "z_m = [0.7, 0.3]", line_of("[[unit.solid]]", 2), "least first"),
    ("radius_m = 0.52", "radius_m = 0", line_of("radius_m"), "greater than 0"),
    ('kind = "box"', 'kind = "cone"', line_of("[[unit.solid]]", 2), "does not match any of the expected tags"),
    ('code = "F2"', 'code = "F0"', UNIT, "code used twice: F0"),
    ('axle = "D1"', 'axle = "D7"', UNIT, "mount on an axle that is not there: D7"),
    ('kind = "rail"\ncode = "F2"', 'kind = "pin"\ncode = "F2"', UNIT, "needs two rail pairs"),
    ('reference = "frame"', 'reference = "coupling"', UNIT, "needs one pin mount"),
    ('to = "S1Lh"', 'to = "S1Lx"', UNIT, "stand D1Lh: no such station: S1Lx"),
    ('start = "F2L"', 'start = "F9L"', UNIT, "stand D1Lh: no such station: F9L"),
    ('at = "G"', 'at = "H"', UNIT, "stand H: no such station: H"),
    ('turn = ["D1Lh"]', 'turn = ["S1Lh"]', UNIT, "stand D1Lh: no such target: S1Lh"),
    ('fold = ["S1L"]', 'fold = ["S1Lf"]', UNIT, "stand D1Lh: no such target: S1Lf"),
    ('at = "G"', 'at = "F0L"', UNIT, "stand F0L: inclinations of the floor are taken at a floor mount"),
    ('tilts = ["along", "across"]', 'tilts = ["upward"]', line_of("tilts"), "'along'"),
    ('to = "S1Lh"', 'two = "S1Lh"', line_of("shots"), "shots.0.to: Field required"),
]  # fmt: skip


def test_the_layout_the_faults_are_made_in_is_good() -> None:
    layout = parse_layout(GOOD, path="own.toml")
    assert [unit.id for unit in layout.unit] == ["truck"]
    assert layout.combine == ()


@pytest.mark.parametrize(("old", "new", "line", "words"), CASES)
def test_a_fault_is_named_with_its_line(old: str, new: str, line: int, words: str) -> None:
    assert GOOD.count(old) >= 1
    found = faults(GOOD.replace(old, new, 1))
    assert any(number == line and words in text for number, text in found), found


def test_several_faults_are_named_at_once() -> None:
    bad = GOOD.replace('kind = "driven"', 'kind = "pulled"').replace("radius_m = 0.52", "radius_m = 0")
    assert [line for line, _ in faults(bad)] == [line_of('kind = "driven"'), line_of("radius_m")]


def test_a_line_through_axle_middles_starts_at_a_steer_axle() -> None:
    axles = GOOD.split("[[unit.axle]]")
    turned = "[[unit.axle]]".join([axles[0], axles[2].split("[[unit.mount]]")[0], axles[1]])
    rest = "[[unit.mount]]" + GOOD.split("[[unit.mount]]", 1)[1]
    bad = (turned + rest).replace('reference = "frame"', 'reference = "axle-middles"')
    assert faults(bad) == (
        (UNIT, "unit.0: Value error, a line through axle middles starts at a steer axle, which comes first"),
    )


def test_text_that_is_not_toml_is_refused_at_its_line() -> None:
    [(line, words)] = faults(GOOD.replace("x_m = -4.0", "x_m = -4,0"))
    assert line == line_of("x_m = -4.0")
    assert "not TOML" in words


def test_two_units_keep_their_names_apart() -> None:
    second = GOOD[GOOD.index("[[unit]]") :]
    last = len(GOOD.splitlines()) + 1
    assert faults(GOOD + second) == ((last, "unit: Value error, two units share the id truck"),)
    other = second.replace('id = "truck"', 'id = "cart"')
    [(line, words)] = faults(GOOD + other)
    assert line == last
    assert words.startswith("unit: Value error, station made twice: D1Lh, D1Rh, F0L")
    one = parse_layout(GOOD, path="own.toml").unit[0]
    assert clash_of([one]) == ""


HEAD = GOOD[: GOOD.index("[[unit]]")]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (HEAD, 0, "either units or combine"),
        (HEAD + 'combine = ["one", "two"]\n' + GOOD[len(HEAD) :], 0, "either units or combine"),
        (HEAD + 'combine = ["one"]\n', 6, "at least two different layouts"),
        (HEAD + 'combine = ["one", "one"]\n', 6, "at least two different layouts"),
        (HEAD + 'combine = ["one", "Two!"]\n', 6, "should match pattern"),
    ],
)
def test_a_layout_has_either_units_or_combine(text: str, line: int, words: str) -> None:
    [(found, said)] = faults(text)
    assert found == line
    assert words in said


def test_a_combination_is_read_as_names() -> None:
    layout = parse_layout(HEAD + 'combine = ["one", "two"]\n', path="own.toml")
    assert layout.combine == ("one", "two")
    assert layout.unit == ()


def test_stations_follow_from_the_mounts() -> None:
    [unit] = parse_layout(GOOD, path="own.toml").unit
    stations = {station.name: station for station in stations_of(unit)}
    assert list(stations) == [
        "S1Lf", "S1Lh", "S1Lr", "S1Rf", "S1Rh", "S1Rr", "D1Lh", "D1Rh", "F0L", "F0R", "F2L", "F2R", "G",
    ]  # fmt: skip
    # places computed by hand from axle, half span and half length
    assert stations["S1Lf"].place_m == (0.6, 1.25, 0.15)
    assert stations["S1Rr"].place_m == (-0.6, -1.25, 0.15)
    assert stations["D1Rh"].place_m == (-4.0, -1.35, 0.15)
    assert stations["G"].place_m == (-2.0, 1.7, 0.0)
    assert {stations[name].target for name in ("S1Lf", "S1Lh", "S1Lr")} == {"S1L"}
    assert stations["D1Lh"].target == "D1Lh"
    assert stations["D1Lh"].words == "drive axle left, outboard target"


def test_a_mount_states_its_own_setting_or_that_of_its_kind() -> None:
    text = GOOD.replace("half_span_m = 1.35", "half_span_m = 1.35\nsetting = { bias = 0.9 }")
    [unit] = parse_layout(text, path="own.toml").unit
    by_kind = {mount.kind: mount.stated for mount in unit.mount}
    assert by_kind[MountKind.HUB].bias == 0.9
    assert by_kind[MountKind.HUB].seating == 0.0
    assert by_kind[MountKind.STRAIGHTEDGE] == DEFAULT_SETTINGS[MountKind.STRAIGHTEDGE]


def test_a_layout_can_be_written_down_and_read_again() -> None:
    layout = parse_layout(GOOD, path="own.toml")
    assert Layout.model_validate(layout.model_dump(mode="json", by_alias=True, exclude_none=True)) == layout


def test_a_pin_may_have_a_name_of_its_own_and_other_targets_may_not() -> None:
    pin = GOOD.replace('kind = "floor"', 'kind = "pin"\nname = "drawbar eye"').replace(
        '[[unit.stand]]\nat = "G"\ntilts = ["along", "across"]\n\n', ""
    )
    [unit] = parse_layout(pin, path="own.toml").unit
    assert next(station.words for station in stations_of(unit) if station.name == "G") == "drawbar eye"
    bad = GOOD.replace('kind = "hub"', 'kind = "hub"\nname = "arm"')
    assert any(line == HUB and "name belongs to a pin" in words for line, words in faults(bad))
