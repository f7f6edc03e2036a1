from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from axledger.geometry.traced import Traced, arctangent2, constant, cosine, sine

number = st.floats(-10.0, 10.0)


def variables(a: float, b: float) -> tuple[Traced, Traced]:
    return Traced(a, np.array([1.0, 0.0])), Traced(b, np.array([0.0, 1.0]))


FORMULAS: list[tuple[str, Callable[[Traced, Traced], Traced], Callable[[float, float], float]]] = [
    ("sum", lambda a, b: a + b, lambda a, b: a + b),
    ("plus a number", lambda a, b: 2.5 + a + b + 1.5, lambda a, b: a + b + 4.0),
    ("difference", lambda a, b: a - b, lambda a, b: a - b),
    ("minus a number", lambda a, b: a - 3.0 - b, lambda a, b: a - 3.0 - b),
    ("number minus", lambda a, b: 3.0 - a + b, lambda a, b: 3.0 - a + b),
    ("negative", lambda a, b: -(a + b), lambda a, b: -a - b),
    ("product", lambda a, b: a * b, lambda a, b: a * b),
    ("times a number", lambda a, b: 2.0 * a * 0.25 + b * b, lambda a, b: 0.5 * a + b * b),
    ("sine", lambda a, b: sine(a + b * 0.5), lambda a, b: math.sin(a + b * 0.5)),
    ("cosine", lambda a, b: cosine(a * b), lambda a, b: math.cos(a * b)),
    ("mixed", lambda a, b: sine(a) * cosine(b) - b * b * a, lambda a, b: math.sin(a) * math.cos(b) - b * b * a),
    ("constant", lambda a, b: constant(7.0, 2) * a, lambda a, b: 7.0 * a),
]


def central(plain: Callable[[float, float], float], a: float, b: float) -> list[float]:
    step = 1e-5
    return [
        (plain(a + step, b) - plain(a - step, b)) / (2 * step),
        (plain(a, b + step) - plain(a, b - step)) / (2 * step),
    ]


@pytest.mark.parametrize(("traced", "plain"), [row[1:] for row in FORMULAS], ids=[row[0] for row in FORMULAS])
@given(a=number, b=number)
def test_value_and_gradient(
    traced: Callable[[Traced, Traced], Traced], plain: Callable[[float, float], float], a: float, b: float
) -> None:
    found = traced(*variables(a, b))
    assert found.value == pytest.approx(plain(a, b), rel=1e-12, abs=1e-12)
    # central differences: error of order step squared times the third derivative, here below 1e3
    assert found.gradient.tolist() == pytest.approx(central(plain, a, b), rel=1e-6, abs=1e-6)


@given(a=number, b=number)
def test_arctangent_over_the_whole_circle(a: float, b: float) -> None:
    assume(math.hypot(a, b) > 0.01)
    y, x = variables(a, b)
    found = arctangent2(y, x)
    assert found.value == math.atan2(a, b)
    square = a * a + b * b
    assert found.gradient.tolist() == pytest.approx([b / square, -a / square], rel=1e-12, abs=1e-12)
    # and against differences of the direction itself, which has no cut
    step = 1e-6
    for column, (da, db) in enumerate(((step, 0.0), (0.0, step))):
        ahead, behind = complex(b + db, a + da), complex(b - db, a - da)
        turned = (ahead / behind).imag / abs(ahead / behind)
        assert found.gradient[column] == pytest.approx(math.asin(turned) / (2 * step), rel=1e-4, abs=1e-4)


@given(a=number, b=number)
def test_operands_are_left_alone(a: float, b: float) -> None:
    first, second = variables(a, b)
    found = [first + second, first * second, -first, sine(first), first - 1.0]
    assert all(one.gradient is not first.gradient for one in found[:4])
    assert (first.value, first.gradient.tolist()) == (a, [1.0, 0.0])
    assert (second.value, second.gradient.tolist()) == (b, [0.0, 1.0])
