"""Networks of shipped layouts, filled with random but lifelike parameters."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.geometry.adjustment import Equations
from axledger.job.library import load_layout
from axledger.job.model import Model, Sight, Tilt, build_model
from axledger.job.plan import plan_shots
from axledger.job.proof import all_spares, lines_of


@pytest.fixture(scope="session")
def instruments() -> tuple[Instrument, Instrument]:
    """Return a meter and an inclinometer of invented quality."""
    length = QuantityRecord(repeatability=7e-4, resolution=1e-4, zero=5e-4, u_zero=1e-3, scale=2e-5, u_scale=1e-5)
    tilt = QuantityRecord(
        repeatability=math.radians(0.02), resolution=math.radians(0.01), zero=1e-4, u_zero=math.radians(0.05)
    )
    return (
        Instrument(name="meter", profile="example", address="none", quantities={Quantity.LENGTH: length}),
        Instrument(name="tilt", profile="example", address="none", quantities={Quantity.INCLINATION: tilt}),
    )


@pytest.fixture(scope="session")
def model_of(instruments: tuple[Instrument, Instrument]) -> Callable[[str], Model]:
    """Return a maker of the network of a layout: its whole plan, spares included, two readings of each shot."""

    def make(name: str) -> Model:
        layout = load_layout(name)
        lines = list(lines_of(plan_shots(layout, added=all_spares(layout))).values()) * 2
        return build_model(
            layout,
            [line for line in lines if isinstance(line, Sight)],
            [line for line in lines if isinstance(line, Tilt)],
            meter=instruments[0],
            inclinometer=instruments[1],
        )

    return make


@pytest.fixture(scope="session")
def lifelike() -> Callable[[Model, int], np.ndarray]:
    """Return a maker of parameters drawn from the priors."""

    def draw(model: Model, seed: int) -> np.ndarray:
        return model.prior + model.prior_sd * np.random.default_rng(seed).normal(size=len(model.prior))

    return draw


@pytest.fixture(scope="session")
def measured(lifelike: Callable[[Model, int], np.ndarray]) -> Callable[[Model, int], Equations]:
    """Return a maker of a whole round: parameters drawn from the priors, readings from their noise."""

    def draw(model: Model, seed: int) -> Equations:
        exact, _ = model.network.predict(lifelike(model, seed))
        noise = model.sd * np.random.default_rng([seed, 1]).normal(size=len(exact))
        blank = Equations(
            predict=model.network.predict,
            observed=exact,
            sd=model.sd,
            prior=model.prior,
            prior_sd=model.prior_sd,
        )
        return replace(blank, observed=exact + noise)

    return draw
