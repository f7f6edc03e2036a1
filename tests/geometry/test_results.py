"""Each result on hand-made parameters; signs said in words; gradients against differences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import atan2, cos, degrees, radians, sin
from typing import Literal

import numpy as np
import pytest

from axledger.geometry.results import AxleGeometry, Formula, UnitGeometry, evaluate
from axledger.job.library import layout_names
from axledger.job.model import Model

Reference = Literal["frame", "axle-middles", "coupling"]
NAMES = ("steer.x", "steer.y", "steer.yaw", "left", "right", "d1.x", "d1.y", "d1.yaw", "d2.x", "d2.y", "d2.yaw")


def tractor(reference: Reference = "frame") -> UnitGeometry:
    """Return an invented three-axle tractor whose every place and turn is a parameter of ``NAMES``."""

    def axle(code: str, name: str, x_m: float, group: str, half_m: float, *, steer: bool = False) -> AxleGeometry:
        x, y, yaw = (NAMES.index(f"{code}.{part}") for part in ("x", "y", "yaw"))
        return AxleGeometry(
            id=code, name=name, group=group, driven=not steer, x=x, y=y, yaw=yaw, x_m=x_m, wheel_half_m=half_m,
            steer=(NAMES.index("left"), NAMES.index("right")) if steer else None,
        )  # fmt: skip

    return UnitGeometry(
        id="t", name="tractor", powered=True, reference=reference, pin_x_m=0.5, toe_diameter_m=1.0,
        axles=(
            axle("steer", "steer axle", 0.0, "front", 1.0, steer=True),
            axle("d1", "drive axle 1", -3.0, "rear", 0.9),
            axle("d2", "drive axle 2", -4.4, "rear", 0.9),
        ),
    )  # fmt: skip


def results(unit: UnitGeometry, **values: float) -> Mapping[str, Formula]:
    """Evaluate with the parameters given as ``d1_yaw=...`` (m, rad), all others zero."""
    x = np.zeros(len(NAMES))
    for name, value in values.items():
        x[NAMES.index(name.replace("_", "."))] = value
    return {formula.key.removeprefix("t."): formula for formula in evaluate(unit, x)}


def shown(unit: UnitGeometry, **values: float) -> dict[str, float]:
    """Return the results in degrees and millimetres."""
    found = results(unit, **values)
    return {k: degrees(f.value.value) if f.unit == "deg" else f.value.value * 1000 for k, f in found.items()}


def test_a_perfect_tractor_has_no_errors() -> None:
    found = shown(tractor())
    lengths = {"d1.wheelbase.left": 3700.0, "d1.wheelbase.right": 3700.0}
    assert found == pytest.approx({key: lengths.get(key, 0.0) for key in found}, abs=1e-9)
    assert list(found) == [
        "steer.toe.total", "steer.toe.left", "steer.toe.right", "steer.toe.length", "steer.steering",
        "steer.squareness", "steer.offset", "d1.squareness", "d1.offset", "d2.squareness", "d2.offset", "d1.thrust",
        "d2.parallelism", "d2.spacing", "d1.wheelbase.left", "d1.wheelbase.right", "d1.wheelbase.difference",
    ]  # fmt: skip


def test_fronts_of_the_wheels_together_is_positive_toe() -> None:
    # ISO 8855:2011, cl. 7.1.6 and 7.1.7: toe-in positive; the left wheel turned to the right is toed in
    found = shown(tractor(), left=radians(-0.10), right=radians(0.04))
    assert found["steer.toe.left"] == pytest.approx(0.10, abs=1e-12)
    assert found["steer.toe.right"] == pytest.approx(0.04, abs=1e-12)
    assert found["steer.toe.total"] == pytest.approx(0.14, abs=1e-12)
    assert found["steer.toe.length"] == pytest.approx(1000 * (sin(radians(0.10)) + sin(radians(0.04))), abs=1e-9)
    assert found["steer.steering"] == pytest.approx(-0.03, abs=1e-12)  # both together point to the right


def test_an_axle_turned_with_its_wheels_keeps_total_toe() -> None:
    found = shown(tractor(), steer_yaw=radians(0.2), left=radians(-0.05), right=radians(0.05))
    assert found["steer.toe.total"] == pytest.approx(0.10, abs=1e-12)
    assert found["steer.toe.left"] == pytest.approx(-0.15, abs=1e-12)
    assert found["steer.toe.right"] == pytest.approx(0.25, abs=1e-12)
    # thrust of per-wheel toes is (right - left)/2: derived, recomputed
    assert found["steer.steering"] == pytest.approx(0.20, abs=1e-12)


def test_left_end_rearward_is_positive_and_pushes_to_the_left() -> None:
    found = shown(tractor(), d1_yaw=radians(0.3), d2_yaw=radians(0.1))
    assert (found["d1.squareness"], found["d2.squareness"]) == pytest.approx((0.3, 0.1), abs=1e-12)
    assert found["d1.thrust"] == pytest.approx(0.2, abs=1e-12)
    assert found["d2.parallelism"] == pytest.approx(-0.2, abs=1e-12)
    # left end of the first drive axle 0.9 sin 0.3 back, of the second 0.9 sin 0.1: the left gap is the smaller
    assert found["d2.spacing"] == pytest.approx(2 * 900 * (sin(radians(0.1)) - sin(radians(0.3))), abs=1e-9)
    long_left = 900 * (sin(radians(0.3)) + sin(radians(0.1)))
    assert found["d1.wheelbase.difference"] == pytest.approx(long_left, abs=1e-9)
    assert found["d1.wheelbase.left"] == pytest.approx(3700 + long_left / 2, abs=1e-9)
    assert found["d1.wheelbase.right"] == pytest.approx(3700 - long_left / 2, abs=1e-9)


def test_offset_to_the_left_is_positive() -> None:
    found = shown(tractor(), d2_y=0.004)
    assert (found["d1.offset"], found["d2.offset"]) == pytest.approx((0.0, 4.0), abs=1e-12)
    assert found["d2.squareness"] == 0.0


def test_axle_middles_reference_turns_with_the_rear_group() -> None:
    found = shown(tractor("axle-middles"), d1_y=0.010, d2_y=0.010)
    heading = atan2(-0.010, 3.7)
    assert found["steer.squareness"] == pytest.approx(-degrees(heading), abs=1e-12)
    assert found["d1.squareness"] == pytest.approx(-degrees(heading), abs=1e-12)
    # the line passes through the steer axle's middle and the middle of the rear group, not of each of its axles
    assert "steer.offset" not in found
    assert found["d1.offset"] == pytest.approx(-700 * sin(heading), abs=1e-9)
    assert found["d2.offset"] == pytest.approx(700 * sin(heading), abs=1e-9)


@pytest.mark.parametrize("reference", ["axle-middles", "coupling"])
def test_a_line_of_the_vehicle_itself_does_not_see_the_frame_turn(reference: Reference) -> None:
    """Turn the whole unit about the point that is fixed: only the frame's own results change."""
    turn, unit = 0.01, tractor(reference)
    pivot_x = unit.pin_x_m if reference == "coupling" else 0.0
    rng = np.random.default_rng(3)
    x = rng.normal(size=len(NAMES)) * 0.005
    if reference == "axle-middles":
        x[NAMES.index("steer.x")] = x[NAMES.index("steer.y")] = 0.0
    turned = x.copy()
    for axle in unit.axles:
        along, aside = axle.x_m + x[axle.x] - pivot_x, x[axle.y]
        turned[axle.x] = pivot_x + along * cos(turn) - aside * sin(turn) - axle.x_m
        turned[axle.y] = along * sin(turn) + aside * cos(turn)
        turned[axle.yaw] += turn
    before = {f.key: f.value.value for f in evaluate(unit, x)}
    after = {f.key: f.value.value for f in evaluate(unit, turned)}
    assert after == pytest.approx(before, abs=1e-14)


def test_a_lone_rear_axle_has_no_offset_from_a_line_through_it() -> None:
    one = tractor("coupling")
    one = UnitGeometry(
        id="t", name="trailer", powered=False, reference="coupling", pin_x_m=0.5, toe_diameter_m=1.0,
        axles=(one.axles[1],),
    )  # fmt: skip
    assert list(results(one, d1_y=0.003)) == ["d1.squareness", "d1.thrust"]
    assert shown(one, d1_y=0.003)["d1.squareness"] == pytest.approx(degrees(atan2(0.003, 3.5)), abs=1e-12)


def test_mirrored_vehicle_mirrors_the_signs() -> None:
    unit = tractor()
    rng = np.random.default_rng(4)
    x = rng.normal(size=len(NAMES)) * 0.01
    mirror = x.copy()
    for name in ("steer.y", "steer.yaw", "d1.y", "d1.yaw", "d2.y", "d2.yaw"):
        mirror[NAMES.index(name)] *= -1
    mirror[NAMES.index("left")], mirror[NAMES.index("right")] = -x[NAMES.index("right")], -x[NAMES.index("left")]
    here = {f.key: f.value.value for f in evaluate(unit, x)}
    there = {f.key: f.value.value for f in evaluate(unit, mirror)}
    swapped = {"toe.left": "toe.right", "toe.right": "toe.left", "base.left": "base.right", "base.right": "base.left"}
    for key, value in here.items():
        ending = next((end for end in swapped if key.endswith(end)), "")
        partner = key.removesuffix(ending) + swapped[ending] if ending else key
        same = ending or key.endswith(("toe.total", "toe.length"))
        assert there[partner] == pytest.approx(value if same else -value, abs=1e-14), key


def test_steering_straight_or_not_does_not_change_the_wheelbase() -> None:
    straight, turned = shown(tractor()), shown(tractor(), left=0.1, right=0.1)
    assert turned["d1.wheelbase.difference"] == straight["d1.wheelbase.difference"]


def test_words_and_units() -> None:
    found = results(tractor("axle-middles"))
    assert found["steer.toe.length"].name == "steer axle: total toe at 1000 mm"
    assert found["steer.toe.length"].unit == "mm"
    assert found["d2.parallelism"].name == "drive axle 2: parallelism to drive axle 1"


@pytest.mark.parametrize(
    ("reference", "words"),
    [("axle-middles", "the line of axle middles"), ("frame", "the frame line"), ("coupling", "the coupling line")],
)
def test_all_is_against_the_reference_but_what_relates_wheels_or_axles_to_each_other(
    reference: Reference, words: str
) -> None:
    against = {key: formula.against for key, formula in results(tractor(reference)).items()}
    own = {
        "steer.toe.total": "the wheels of the axle",
        "steer.toe.length": "the wheels of the axle",
        "d2.parallelism": "drive axle 1",
        "d2.spacing": "drive axle 1",
    }
    if reference == "coupling":
        own["d1.squareness.own"] = "the line from the pin to its own middle"
    assert {key: against[key] for key in own} == own
    assert against["d1.wheelbase.difference"] == words
    assert {value for key, value in against.items() if key not in own} == {words}


def unit_of(*axles: AxleGeometry, reference: Reference = "frame", powered: bool = True) -> UnitGeometry:
    return UnitGeometry(
        id="t", name="unit", powered=powered, reference=reference, pin_x_m=0.0, toe_diameter_m=1.0, axles=axles
    )


def axle_of(
    name: str, x_m: float, group: str, first: int, *, driven: bool = False, steer: tuple[int, int] | None = None
) -> AxleGeometry:
    """Return an axle whose x, y and yaw are the parameters ``first`` to ``first + 2``."""
    return AxleGeometry(
        id=name, name=name, group=group, driven=driven, x=first, y=first + 1, yaw=first + 2, x_m=x_m, wheel_half_m=1.0,
        steer=steer,
    )  # fmt: skip


def evaluated(unit: UnitGeometry, size: int, **values: float) -> dict[str, Formula]:
    """Evaluate with the parameters ``p3=...`` given, all others zero."""
    x = np.zeros(size)
    for name, value in values.items():
        x[int(name.removeprefix("p"))] = value
    return {formula.key.removeprefix("t."): formula for formula in evaluate(unit, x)}


def test_two_steer_axles_are_told_apart_by_beams_and_by_wheels() -> None:
    first, second = (axle_of(name, x, "front", n, steer=(n + 3, n + 4)) for name, x, n in (("s1", 0, 0), ("s2", -2, 5)))
    unit = unit_of(first, second, axle_of("d", -5, "rear", 10, driven=True))
    # the second axle's beam turned by 0.2, its wheels back by 0.5 and 0.3 against the beam; the first's wheels by 0.1
    turns = {"p7": 0.2, "p8": -0.5, "p9": -0.3, "p3": 0.1, "p4": 0.1}
    found = evaluated(unit, 13, **{name: radians(value) for name, value in turns.items()})
    by_hand = {
        "s1.steering": 0.1, "s2.steering": -0.2, "s2.steering.difference": -0.3, "s2.parallelism": 0.2,
        "s1.squareness": 0.0, "s2.squareness": 0.2, "s2.toe.total": 0.2, "s1.toe.total": 0.0,
    }  # fmt: skip
    assert {key: degrees(found[key].value.value) for key in by_hand} == pytest.approx(by_hand, abs=1e-12)
    assert found["s2.steering.difference"].against == "s1"
    assert "s1.steering.difference" not in found
    # spacing and wheelbase are of the axles, whatever the wheels do: 2 x 1 m x sin 0.2 degrees, left shorter by it
    assert found["s2.spacing"].value.value == pytest.approx(2 * sin(radians(0.2)), abs=1e-12)
    assert found["d.wheelbase.difference"].value.value == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("carrying_x", "driven_x"), [(-4.0, -5.4), (-5.4, -4.0)], ids=["pusher", "tag"])
def test_a_carrying_axle_is_judged_against_the_drive_axle_on_either_side(carrying_x: float, driven_x: float) -> None:
    steer = axle_of("s", 0, "front", 0, steer=(3, 4))
    carrying, driven = axle_of("c", carrying_x, "rear", 5), axle_of("d", driven_x, "rear", 8, driven=True)
    unit = unit_of(steer, *sorted((carrying, driven), key=lambda axle: -axle.x_m))
    found = evaluated(unit, 11, p7=radians(0.3), p10=radians(0.1))
    # thrust comes from what drives alone; parallelism and wheelbase belong to it, whichever stands first
    assert degrees(found["d.thrust"].value.value) == pytest.approx(0.1, abs=1e-12)
    assert degrees(found["c.parallelism"].value.value) == pytest.approx(0.2, abs=1e-12)
    assert found["c.parallelism"].against == "d"
    assert {key for key in found if "parallelism" in key or "thrust" in key} == {"c.parallelism", "d.thrust"}
    assert found["d.wheelbase.left"].value.value > 4.7
    # left ends rearward by sin 0.3 and sin 0.1: the gap from the drive axle is its place less the other's
    assert found["c.spacing"].value.value == pytest.approx(2 * (sin(radians(0.3)) - sin(radians(0.1))), abs=1e-12)


def test_a_steered_axle_of_a_trailer_does_not_bend_the_reference_line() -> None:
    fixed, steered = axle_of("a1", -7, "rear", 0), axle_of("a3", -9.6, "steered", 3, steer=(6, 7))
    unit = unit_of(fixed, steered, reference="coupling", powered=False)
    assert [axle.id for axle in unit.rear] == ["a1"]
    found = evaluated(unit, 8, p4=0.010, p5=radians(0.1), p6=radians(0.2), p7=radians(0.4))
    # the line runs from the pin through the fixed axle; the steered one stands 10 mm beside it and is no part of it
    assert found["a1.squareness"].value.value == 0.0
    assert found["a3.offset"].value.value == pytest.approx(0.010, abs=1e-15)
    by_hand = {"a3.squareness": 0.1, "a3.steering": 0.4, "a3.toe.total": 0.2, "a3.toe.left": -0.3, "a3.toe.right": 0.5}
    assert {key: degrees(found[key].value.value) for key in by_hand} == pytest.approx(by_hand, abs=1e-12)
    assert [axle.id for axle in unit_of(steered, reference="coupling", powered=False).rear] == ["a3"]


def test_an_axle_has_a_line_of_its_own_to_the_pin() -> None:
    unit = unit_of(axle_of("a1", -7, "rear", 0), axle_of("a2", -8.3, "rear", 3), reference="coupling", powered=False)
    found = evaluated(unit, 6, p1=0.007, p2=radians(0.1), p4=-0.050)
    # where the second axle stands sideways turns the unit's line, and not the first axle's own
    assert found["a1.squareness.own"].value.value == pytest.approx(radians(0.1) + atan2(0.007, 7.0), abs=1e-12)
    assert found["a1.squareness"].value.value == pytest.approx(radians(0.1) + atan2(-0.0215, 7.65), abs=1e-12)
    assert "a2.squareness.own" not in found


def test_a_number_equal_to_the_size_stands_for_zero() -> None:
    axle = AxleGeometry(id="a", name="axle", group="rear", driven=False, x=2, y=2, yaw=0, x_m=-7.0, wheel_half_m=1.0)
    unit = UnitGeometry(
        id="t", name="trailer", powered=False, reference="coupling", pin_x_m=0.0, toe_diameter_m=1.0, axles=(axle,)
    )
    (squareness,) = evaluate(unit, np.array([0.002, 9.0]))
    assert squareness.value.value == pytest.approx(0.002, abs=1e-15)
    assert squareness.value.gradient.tolist() == [1.0, 0.0]


@pytest.mark.parametrize("name", layout_names())
def test_gradients_against_central_differences(
    model_of: Callable[[str], Model], lifelike: Callable[[Model, int], np.ndarray], name: str
) -> None:
    model = model_of(name)
    x, step = lifelike(model, 11), 1e-5
    for unit in model.units:
        gradients = np.array([formula.value.gradient for formula in evaluate(unit, x)])
        for number in range(len(x)):
            change = np.zeros(len(x))
            change[number] = step
            ahead, behind = evaluate(unit, x + change), evaluate(unit, x - change)
            slope = [(a.value.value - b.value.value) / (2 * step) for a, b in zip(ahead, behind, strict=True)]
            assert gradients[:, number].tolist() == pytest.approx(slope, abs=1e-8)
