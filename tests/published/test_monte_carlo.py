"""The stated uncertainty of a whole job against propagation of distributions.

Method: JCGM 101:2008 (Monte Carlo). Every prior (vehicle, targets, instruments) and the noise of every reading is
drawn, readings are made by the full nonlinear model, each job is solved from the priors, and the errors of the
results are compared with what the linear propagation states at each solution. Numbers are computed here, seeded;
no source.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.geometry.adjustment import Adjusted, Equations, adjust
from axledger.geometry.results import evaluate
from axledger.job.in_force import InForce
from axledger.job.library import load_layout
from axledger.job.model import Model, Sight, Tilt, build_model
from axledger.job.plan import plan_shots
from axledger.job.proof import lines_of
from axledger.job.solution import Solver

SEED, DRAWS, REPEATS = 20_260_101, 2000, 2
METER = Instrument(
    name="meter", profile="example", address="none",
    quantities={Quantity.LENGTH: QuantityRecord(repeatability=7e-4, resolution=1e-4, u_zero=1e-3)},
)  # fmt: skip
INCLINOMETER = Instrument(
    name="tilt", profile="example", address="none",
    quantities={
        Quantity.INCLINATION: QuantityRecord(
            repeatability=math.radians(0.02), resolution=math.radians(0.01), u_zero=math.radians(0.05)
        )
    },
)  # fmt: skip


def values_of(model: Model, x: np.ndarray) -> np.ndarray:
    return np.array([formula.value.value for unit in model.units for formula in evaluate(unit, x)])


def stated(model: Model, adjusted: Adjusted) -> tuple[np.ndarray, np.ndarray]:
    """Return the values of all results and their standard uncertainties."""
    formulas = [formula for unit in model.units for formula in evaluate(unit, adjusted.x)]
    gradients = np.array([formula.value.gradient for formula in formulas])
    variances = np.diag(gradients @ adjusted.covariance @ gradients.T)
    return np.array([formula.value.value for formula in formulas]), np.sqrt(variances)


@pytest.mark.slow
def test_stated_uncertainties_agree_with_monte_carlo() -> None:
    layout = load_layout("semitrailer-2axle")
    lines = [line for line in lines_of(plan_shots(layout)).values() for _ in range(REPEATS)]
    sights = [line for line in lines if isinstance(line, Sight)]
    tilts = [line for line in lines if isinstance(line, Tilt)]
    model = build_model(layout, sights, tilts, meter=METER, inclinometer=INCLINOMETER)
    # the settings' sds as they are drawn below, without doubt about them
    forecast, _ = Solver(layout, None, METER, INCLINOMETER, InForce.believed()).forecast(lines)
    assert all(result.value is not None for result in forecast)

    rng = np.random.default_rng(SEED)
    errors, u = np.empty((DRAWS, len(forecast))), np.empty((DRAWS, len(forecast)))
    squares = np.empty(DRAWS)
    for draw in range(DRAWS):
        true = model.prior + model.prior_sd * rng.normal(size=len(model.prior))
        exact, _ = model.network.predict(true)
        adjusted = adjust(
            Equations(
                predict=model.network.predict,
                observed=exact + model.sd * rng.normal(size=len(exact)),
                sd=model.sd,
                prior=model.prior,
                prior_sd=model.prior_sd,
            )
        )
        assert adjusted.converged
        assert adjusted.minimum
        values, u[draw] = stated(model, adjusted)
        errors[draw] = values - values_of(model, true)
        squares[draw] = adjusted.square_sum / adjusted.freedom

    found_u, stated_u = errors.std(axis=0, ddof=1), np.sqrt((u**2).mean(axis=0))
    # 2000 draws know a standard deviation to 1.6 %; 5 % is about three of that
    assert (found_u / stated_u).tolist() == pytest.approx([1.0] * len(stated_u), abs=0.05)
    # no bias: mean errors within three of their own standard errors
    assert np.abs(errors.mean(axis=0) / (found_u / math.sqrt(DRAWS))).max() < 3.0
    # and the weighted square sum is what its degrees of freedom say: mean 1, standard error sqrt(2 / (f n))
    assert squares.mean() == pytest.approx(1.0, abs=3 * math.sqrt(2 / (len(lines) * DRAWS)))
    # the forecast knows the layout's geometry only: real axles stand up to centimetres elsewhere
    assert [result.forecast_u for result in forecast] == pytest.approx(stated_u.tolist(), rel=0.10)
