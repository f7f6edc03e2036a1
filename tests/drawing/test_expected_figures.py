from __future__ import annotations

from math import radians

import pytest

from axledger.drawing.expected_figures import expected_figures
from axledger.geometry.conformity import Verdict
from axledger.job.moves import Expected


def _expected(unit: str, before: float, after: float, u: float) -> Expected:
    return Expected(
        key="trailer.axle1.squareness", name="axle 1: squareness", unit=unit, before=before, after=after, u=u,
        lower=None, upper=None, verdict=Verdict.CONFORMS, probability=None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("expected", "figures"),
    [
        (_expected("deg", radians(0.354), radians(-0.004), radians(0.021)), ("+0.35", "0.00", "0.04")),
        (_expected("mm", -0.0123, 0.0004, 0.0011), ("-12.3", "+0.4", "2.2")),
    ],
)
def test_values_have_a_sign_and_the_uncertainty_is_doubled(expected: Expected, figures: tuple[str, ...]) -> None:
    assert expected_figures(expected) == figures
