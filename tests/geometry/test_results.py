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
    assert {key: against[key] for key in own} == own
    assert against["d1.wheelbase.difference"] == words
    assert {value for key, value in against.items() if key not in own} == {words}


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
