"""A result as a formula: it keeps its gradient, and is as fine as its layout asks unless it says otherwise."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from axledger.geometry.formula import Formula
from axledger.geometry.traced import Traced


def test_a_formula_keeps_value_and_gradient_and_does_not_change() -> None:
    value = Traced(0.1, np.array([1.0, 0.0]))
    formula = Formula(key="tractor.steer.toe.total", name="total toe", unit="deg", against="its wheels", value=value)
    assert formula.value.gradient @ np.array([3.0, 5.0]) == 3.0
    assert formula.coarse == 1.0
    with pytest.raises(FrozenInstanceError):
        formula.key = "other"  # type: ignore[misc]
