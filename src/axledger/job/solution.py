"""Solve a round: from its accepted readings to results, predictions and verdicts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from axledger.contract.instrument import Instrument
from axledger.geometry.adjustment import Adjusted, Array, Equations, adjust
from axledger.geometry.conformity import Verdict, judge, zone_left
from axledger.geometry.results import evaluate
from axledger.job.layout import Layout
from axledger.job.limits import Limit, LimitSheet
from axledger.job.model import Model, Sight, Tilt, build_model

__all__ = ["Line", "Observation", "Prediction", "Result", "Solution", "Solver"]

Line = Sight | Tilt


@dataclass(frozen=True, slots=True)
class Observation:
    """One accepted reading: its line and its value as the instrument gave it, m or rad."""

    line: Line
    value_si: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a line should read: ``value_si`` and the standard deviation of the next reading's difference."""

    value_si: float
    sd_si: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One result in SI. ``value`` and ``u`` are ``None`` while not determined; ``forecast_u`` is what is known.

    ``unit`` is the display unit ("deg", "mm"). ``lower``, ``upper`` are the limits in SI.
    """

    key: str
    name: str
    against: str
    unit: str
    value: float | None
    u: float | None
    forecast_u: float
    lower: float | None
    upper: float | None
    verdict: Verdict
    probability: float | None
    zone_left: float | None
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """A solved round: results by key, and the adjustment they come from.

    ``rows`` gives the network's row of every line that was observed or planned.
    """

    results: tuple[Result, ...]
    adjusted: Adjusted
    model: Model
    observations: tuple[Observation, ...]
    rows: Mapping[Line, int]

    @property
    def contradicts(self) -> bool:
        """Tell whether the readings contradict each other far beyond what chance allows.

        The weighted square sum, priors included, has as many degrees of freedom as there are readings. The limit is
        the 1 - 1e-6 point of chi-squared (Wilson and Hilferty's cube-root approximation, 1931): coarse on purpose,
        because real noise has heavier tails than a normal one and only gross errors are meant here.
        """
        if not (self.adjusted.converged and self.adjusted.minimum):
            return True
        count = len(self.observations)
        if count == 0:
            return False
        spread = 2.0 / (9.0 * count)
        return self.adjusted.square_sum > count * (1.0 - spread + 4.753 * math.sqrt(spread)) ** 3

    def predict(self, line: Line) -> Prediction:
        """Predict the next reading of ``line``, which must be among ``rows``."""
        row = self.rows[line]
        readings, jacobian = self.model.network.predict(self.adjusted.x)
        variance = float(jacobian[row] @ self.adjusted.covariance @ jacobian[row]) + float(self.model.sd[row]) ** 2
        return Prediction(float(readings[row]), math.sqrt(variance))

    def parameter(self, name: str) -> tuple[float, float] | None:
        """Return value and standard uncertainty (SI) of a named parameter, or ``None``."""
        if name not in self.model.names:
            return None
        number = self.model.names.index(name)
        return float(self.adjusted.x[number]), math.sqrt(float(self.adjusted.covariance[number, number]))


class Solver:
    """Solve rounds of one job.

    A solution depends on its readings and on which lines are planned, never on what was solved before: a live run
    asks more often than a replay does, and both must decide alike to the last bit.
    """

    def __init__(
        self, layout: Layout, limits: LimitSheet | None, meter: Instrument | None, inclinometer: Instrument | None
    ) -> None:
        self.layout = layout
        self.limits = limits
        self.meter = meter
        self.inclinometer = inclinometer
        self._model: Model | None = None
        self._rows: dict[Line, int] = {}
        self._exact: tuple[frozenset[Line], Model, dict[Line, int]] | None = None
        self._limits: dict[str, tuple[Limit | None, float | None, float | None]] = {}

    def solve(self, observations: Sequence[Observation], planned: Sequence[Line], *, careful: bool = True) -> Solution:
        """Solve ``observations``; ``planned`` names lines that predictions may be asked for.

        ``careful`` as in ``adjust``: what is stated is solved with it, what a screen shows meanwhile without.
        """
        model, numbers = self._exact_model(frozenset(planned) | {observation.line for observation in observations})
        rows = np.array([numbers[observation.line] for observation in observations], dtype=np.int64)
        seen, repeats = np.unique(rows, return_inverse=True)

        def predict(x: Array) -> tuple[Array, Array]:
            readings, jacobian = model.network.predict(x)
            return readings[seen], jacobian[seen]

        adjusted = adjust(
            Equations(
                predict=predict,
                rows=repeats,
                observed=np.array([observation.value_si for observation in observations]),
                sd=model.sd[rows],
                prior=model.prior,
                prior_sd=model.prior_sd,
            ),
            careful=careful,
        )
        return Solution(
            results=tuple(self._results(model, adjusted)),
            adjusted=adjusted,
            model=model,
            observations=tuple(observations),
            rows=numbers,
        )

    def forecast(self, lines: Sequence[Line]) -> tuple[tuple[Result, ...], Array]:
        """Return what ``lines`` would determine at the layout's nominal geometry, and their redundancies.

        No reading is needed: the covariance of a network depends on its geometry alone (to first order).
        """
        model = self._model_for(lines)
        rows = [self._rows[line] for line in lines]
        _, everything = model.network.predict(model.prior)
        jacobian, sd = everything[rows], model.sd[rows]
        covariance = _inverse((jacobian.T / sd**2) @ jacobian + np.diag(model.prior_sd**-2))
        leverage = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian, optimize=True)
        return tuple(self._described(model, model.prior, covariance)), 1.0 - leverage / sd**2

    def first_determined(self, steps: Sequence[Sequence[Line]]) -> dict[str, int]:
        """Return for each result the number of the step (from 0) after whose readings it is determined.

        The normal matrix grows step by step and the geometry is the layout's, so the whole walk costs one
        inversion a step.
        """
        model = self._model_for([line for step in steps for line in step])
        _, jacobian = model.network.predict(model.prior)
        formulas = [formula for unit in model.units for formula in evaluate(unit, model.prior)]
        gradients = np.array([formula.value.gradient for formula in formulas])
        prior_u = np.sqrt((gradients**2) @ model.prior_sd**2)
        bounds = np.array([self._bound(formula.unit) for formula in formulas])
        normal = np.diag(model.prior_sd**-2)
        first: dict[str, int] = {}
        for number, step in enumerate(steps):
            rows = [self._rows[line] for line in step]
            normal += (jacobian[rows].T / model.sd[rows] ** 2) @ jacobian[rows]
            u = np.sqrt(np.einsum("ij,jk,ik->i", gradients, _inverse(normal), gradients, optimize=True))
            for formula, determined in zip(formulas, (u < 0.5 * prior_u) & (u <= bounds), strict=True):
                if determined:
                    first.setdefault(formula.key, number)
        return first

    def _bound(self, unit: str) -> float:
        return {"deg": math.radians(self.layout.most_u_deg), "mm": self.layout.most_u_mm * 1e-3}[unit]

    def _exact_model(self, lines: frozenset[Line]) -> tuple[Model, dict[Line, int]]:
        """Return the model of exactly ``lines``, in an order of their own, and the row of each line."""
        if self._exact is None or self._exact[0] != lines:
            self._exact = (lines, *self._built(sorted(lines, key=repr)))
        return self._exact[1:]

    def _built(self, lines: Sequence[Line]) -> tuple[Model, dict[Line, int]]:
        sights = [line for line in lines if isinstance(line, Sight)]
        tilts = [line for line in lines if isinstance(line, Tilt)]
        model = build_model(self.layout, sights, tilts, meter=self.meter, inclinometer=self.inclinometer)
        in_order: list[Line] = [*sights, *tilts]
        return model, {line: row for row, line in enumerate(in_order)}

    def _model_for(self, lines: Sequence[Line]) -> Model:
        """Return a model that has ``lines`` among others: enough for a forecast, which nothing is decided by."""
        if self._model is None or any(line not in self._rows for line in lines):
            self._model, self._rows = self._built(list(dict.fromkeys([*self._rows, *lines])))
        return self._model

    def _results(self, model: Model, adjusted: Adjusted) -> list[Result]:
        # an optimum that was not reached, or is none, determines nothing
        return self._described(model, adjusted.x, adjusted.covariance, trusted=adjusted.converged and adjusted.minimum)

    def _described(self, model: Model, x: Array, covariance: Array, *, trusted: bool = True) -> list[Result]:
        described: list[Result] = []
        for unit in model.units:
            formulas = evaluate(unit, x)
            gradients = np.array([formula.value.gradient for formula in formulas])
            u = np.sqrt(np.einsum("ij,ij->i", gradients @ covariance, gradients))
            prior_u = np.sqrt((gradients**2) @ model.prior_sd**2)
            for formula, own, before in zip(formulas, u.tolist(), prior_u.tolist(), strict=True):
                # determined: the readings at least halve what the layout's prior says, within the layout's bound
                determined = trusted and own < 0.5 * before and own <= self._bound(formula.unit)
                described.append(
                    self._judged(formula.key, formula.name, formula.against, formula.unit,
                                 formula.value.value, own, determined=determined)
                )  # fmt: skip
        return described

    def _limit(self, key: str) -> tuple[Limit | None, float | None, float | None]:
        """Return the limit of a result and its bounds in SI, converted once: exact conversion takes its time."""
        if key not in self._limits:
            limit = self.limits.limit_for(key) if self.limits is not None else None
            self._limits[key] = (limit, limit.lower_si, limit.upper_si) if limit is not None else (None, None, None)
        return self._limits[key]

    def _judged(
        self, key: str, name: str, against: str, unit: str, value: float, u: float, *, determined: bool
    ) -> Result:
        limit, lower, upper = self._limit(key)
        judgement = None
        if determined:
            rule = self.limits.decision_rule if self.limits is not None else None
            judgement = judge(value, u, lower, upper, rule) if rule is not None else judge(value, u, None, None)
        return Result(
            key=key,
            name=name,
            against=against,
            unit=unit,
            value=value if determined else None,
            u=u if determined else None,
            forecast_u=u,
            lower=lower,
            upper=upper,
            verdict=judgement.verdict if judgement is not None else Verdict.UNDETERMINED,
            probability=judgement.probability if judgement is not None else None,
            zone_left=zone_left(u, lower, upper, self.limits.decision_rule) if limit and self.limits else None,
            source=f"{limit.source}, {limit.revision}" if limit is not None else "",
        )


def _inverse(normal: Array) -> Array:
    """Invert a normal matrix, scaled to a unit diagonal first because parameters mix metres and radians."""
    scale = 1.0 / np.sqrt(np.diag(normal))
    inverse: Array = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    return inverse
