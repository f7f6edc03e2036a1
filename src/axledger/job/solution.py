"""Solve a round: from its accepted readings to results, predictions and verdicts."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from axledger.contract.instrument import Instrument
from axledger.geometry.adjustment import Adjusted, Array, Equations, adjust
from axledger.geometry.conformity import Rule, Verdict, judge, zone_left
from axledger.geometry.results import Formula, evaluate
from axledger.job.in_force import InForce
from axledger.job.layout import Layout
from axledger.job.limits import Limit, LimitSheet
from axledger.job.mixture import Gate, Mixing, SettingEvidence, Spread, gate_of
from axledger.job.model import Model, Sight, Tilt, build_model
from axledger.job.wheel_angles import NO_LEVEL

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

    ``unit`` is the display unit ("deg", "mm"). ``lower``, ``upper`` are the limits in SI. ``u95`` is the half width of
    the 95 % interval from ``low`` to ``high``, ``u`` the standard deviation: both are of the mixture over the settings'
    factors. ``shares`` tells where the variance comes from: kinds of setting, "zero", and "readings" for the rest;
    ``weakest`` the setting with the largest share ("hub.bias").
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
    u95: float | None = None
    low: float | None = None
    high: float | None = None
    forecast_u95: float = 0.0
    shares: Mapping[str, float] = field(default_factory=dict[str, float])
    weakest: str = ""
    why: str = ""
    """Why it is not determined, where more than the uncertainty speaks against it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """A solved round: results by key, and the adjustment they come from.

    ``rows`` gives the network's row of every line that was observed or planned. ``settings`` is what the readings say
    of the settings' factors, ``typical`` those factors, ``gate`` whether the job fits what was known of its targets.
    ``adjusted`` is the solution with the settings as they were taken before the job.
    """

    results: tuple[Result, ...]
    adjusted: Adjusted
    model: Model
    observations: tuple[Observation, ...]
    rows: Mapping[Line, int]
    settings: SettingEvidence
    typical: Array
    gate: Gate

    @property
    def contradicts(self) -> bool:
        """Tell whether the readings contradict each other far beyond what chance allows.

        The weighted square sum, priors included, has as many degrees of freedom as there are readings. The limit is
        the 1 - 1e-6 point of chi-squared (Wilson and Hilferty's cube-root approximation, 1931): coarse on purpose,
        because real noise has heavier tails than a normal one and only gross errors are meant here. Settings count
        as large as the readings make them, within their range: bad settings are no contradiction.
        """
        if not (self.adjusted.converged and self.adjusted.minimum):
            return True
        count = len(self.observations)
        if count == 0:
            return False
        spread = 2.0 / (9.0 * count)
        evidence, as_taken = self.settings.evidence, np.ones(len(self.typical))
        square_sum = self.adjusted.square_sum - evidence.misfit(as_taken) + evidence.misfit(self.typical)
        return square_sum > count * (1.0 - spread + 4.753 * math.sqrt(spread)) ** 3

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


_KEPT_MODELS = 6


class Solver:
    """Solve rounds of one job.

    A solution depends on its readings and on which lines are planned, never on what was solved before: a live run
    asks more often than a replay does, and both must decide alike to the last bit.
    """

    def __init__(
        self, layout: Layout, limits: LimitSheet | None, meter: Instrument | None, inclinometer: Instrument | None,
        in_force: InForce | None = None, *, plate: Instrument | None = None, offered: frozenset[Tilt] = frozenset(),
    ) -> None:  # fmt: skip
        self.layout = layout
        self.plate = plate
        self.offered = offered
        self.limits = limits
        self.meter = meter
        self.inclinometer = inclinometer
        self.in_force = in_force or InForce()
        self._model: Model | None = None
        self._rows: dict[Line, int] = {}
        self._exact: dict[bool, tuple[frozenset[Line], Model, dict[Line, int]]] = {}
        self._mixing: Mixing | None = None
        self._limits: dict[str, tuple[Limit | None, float | None, float | None]] = {}
        self._asked: dict[frozenset[Line], tuple[Model, dict[Line, int]]] = {}

    def solve(self, observations: Sequence[Observation], planned: Sequence[Line], *, careful: bool = True) -> Solution:
        """Solve ``observations``; ``planned`` names lines that predictions may be asked for.

        ``careful`` as in ``adjust``: what is stated is solved with it, what a screen shows meanwhile without.
        """
        lines = frozenset(planned) | {observation.line for observation in observations}
        in_force = self.in_force
        model, numbers = self._exact_model(lines, history=True)
        adjusted = _adjusted(model, numbers, observations, careful=careful)
        # while lines are open the test would be made again and again, and fire by chance
        whole = lines <= {observation.line for observation in observations}
        gate = gate_of(model, adjusted) if whole and in_force.targets else Gate()
        if not gate.fits:
            in_force = in_force.without_targets()
            model, numbers = self._exact_model(lines, history=False)
            adjusted = _adjusted(model, numbers, observations, careful=careful)
        # an optimum that was not reached, or is none, determines nothing
        trusted = adjusted.converged and adjusted.minimum
        results, settings, spread = self._described(
            model,
            adjusted.x,
            adjusted.covariance,
            in_force,
            trusted=trusted,
            careful=careful,
            read={observation.line for observation in observations},
        )
        return Solution(
            results=tuple(results), adjusted=adjusted, model=model, observations=tuple(observations), rows=numbers,
            settings=settings, typical=spread.typical, gate=gate,
        )  # fmt: skip

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
        results, _, _ = self._described(model, model.prior, covariance, self.in_force, forecast=True, read=lines)
        return tuple(results), 1.0 - leverage / sd**2

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
        bounds = np.array([self._bound(formula) for formula in formulas])
        normal = np.diag(model.prior_sd**-2)
        first: dict[str, int] = {}
        read = set[Line]()
        for number, step in enumerate(steps):
            read.update(step)
            rows = [self._rows[line] for line in step]
            normal += (jacobian[rows].T / model.sd[rows] ** 2) @ jacobian[rows]
            u = np.sqrt(np.einsum("ij,jk,ik->i", gradients, _inverse(normal), gradients, optimize=True))
            for formula, determined in zip(formulas, (u < 0.5 * prior_u) & (u <= bounds), strict=True):
                if determined and model.needs.get(formula.key, frozenset()) <= read:
                    first.setdefault(formula.key, number)
        return first

    def _bound(self, formula: Formula) -> float:
        most = {"deg": math.radians(self.layout.most_u_deg), "mm": self.layout.most_u_mm * 1e-3}[formula.unit]
        return formula.coarse * most

    def _exact_model(self, lines: frozenset[Line], *, history: bool) -> tuple[Model, dict[Line, int]]:
        """Return the model of exactly ``lines``, in an order of their own, and the row of each line."""
        known = self._exact.get(history)
        if known is None or known[0] != lines:
            in_force = self.in_force if history else self.in_force.without_targets()
            known = self._exact[history] = (lines, *self._built(sorted(lines, key=repr), in_force))
        return known[1:]

    def _built(self, lines: Sequence[Line], in_force: InForce | None = None) -> tuple[Model, dict[Line, int]]:
        sights = [line for line in lines if isinstance(line, Sight)]
        tilts = [line for line in lines if isinstance(line, Tilt)]
        model = build_model(
            self.layout, sights, tilts, meter=self.meter, inclinometer=self.inclinometer,
            in_force=in_force or self.in_force, plate=self.plate, offered=self.offered,
        )  # fmt: skip
        in_order: list[Line] = [*model.sights, *model.tilts]
        return model, {line: row for row, line in enumerate(in_order)}

    def model_of(self, lines: Sequence[Line]) -> tuple[Model, dict[Line, int]]:
        """Return the network of ``lines`` alone and the row of each: for lines that nobody planned."""
        key = frozenset(lines)
        if key not in self._asked:
            if len(self._asked) >= _KEPT_MODELS:
                del self._asked[next(iter(self._asked))]
            self._asked[key] = self._built(sorted(key, key=repr))
        return self._asked[key]

    def _model_for(self, lines: Sequence[Line]) -> Model:
        """Return a model that has ``lines`` among others: enough for a forecast, which nothing is decided by."""
        if self._model is None or any(line not in self._rows for line in lines):
            self._model, self._rows = self._built(list(dict.fromkeys([*self._rows, *lines])))
        return self._model

    def _described(
        self, model: Model, x: Array, covariance: Array, in_force: InForce, *, trusted: bool = True,
        careful: bool = True, forecast: bool = False, read: Collection[Line] = (),
    ) -> tuple[list[Result], SettingEvidence, Spread]:  # fmt: skip
        formulas = [formula for unit in model.units for formula in evaluate(unit, x)]
        gradients = np.array([formula.value.gradient for formula in formulas]).reshape(-1, len(x))
        values = np.array([formula.value.value for formula in formulas])
        mixing = self._mixing_of(model, in_force)
        settings = mixing.evidence_of(x, covariance, gradients=gradients, values=values)
        spread = mixing.spread_of(settings, covariance, gradients, careful=careful, forecast=forecast)
        # determined: the readings at least halve what the layout's prior says, within the layout's bound; settings
        # as taken before the job, so that this depends on the plan and not on chance
        u = np.sqrt(np.einsum("ij,ij->i", gradients @ covariance, gradients))
        bounds = np.array([self._bound(formula) for formula in formulas])
        determined = trusted & (u < 0.5 * np.sqrt((gradients**2) @ model.prior_sd**2)) & (u <= bounds)
        lacking = {key for key, needed in model.needs.items() if not needed <= set(read)}
        return [
            self._judged(formula, one, is_determined and formula.key not in lacking, formula.key in lacking)
            for formula, one, is_determined in zip(formulas, _each(spread), determined.tolist(), strict=True)
        ], settings, spread  # fmt: skip

    def _mixing_of(self, model: Model, in_force: InForce) -> Mixing:
        if self._mixing is None or self._mixing.model is not model:
            self._mixing = Mixing(model, in_force)
        return self._mixing

    def _limit(self, key: str) -> tuple[Limit | None, float | None, float | None]:
        """Return the limit of a result and its bounds in SI, converted once: exact conversion takes its time."""
        if key not in self._limits:
            limit = self.limits.limit_for(key) if self.limits is not None else None
            self._limits[key] = (limit, limit.lower_si, limit.upper_si) if limit is not None else (None, None, None)
        return self._limits[key]

    def _judged(self, formula: Formula, one: _Estimate, determined: bool, lacking: bool) -> Result:
        limit, lower, upper = self._limit(formula.key)
        judgement = None
        if determined:
            rule = self.limits.decision_rule if self.limits is not None else None
            judgement = judge(one.value, one.u, lower, upper, rule or Rule.GUARD_95)
        half = 0.5 * (one.high - one.low)
        return Result(
            key=formula.key,
            name=formula.name,
            against=formula.against,
            unit=formula.unit,
            value=one.value if determined else None,
            u=one.u if determined else None,
            forecast_u=one.u,
            lower=lower,
            upper=upper,
            verdict=judgement.verdict if judgement is not None else Verdict.UNDETERMINED,
            probability=judgement.probability if judgement is not None else None,
            zone_left=zone_left(one.u, lower, upper, self.limits.decision_rule) if limit and self.limits else None,
            source=f"{limit.source}, {limit.revision}" if limit is not None else "",
            u95=half if determined else None,
            low=one.low if determined else None,
            high=one.high if determined else None,
            forecast_u95=half,
            shares=one.shares,
            weakest=one.weakest,
            why=NO_LEVEL if lacking else "",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Estimate:
    """One result as the mixture gives it, SI."""

    value: float
    u: float
    low: float
    high: float
    shares: Mapping[str, float]
    weakest: str


def _each(spread: Spread) -> list[_Estimate]:
    mixed = spread.mixed
    columns = zip(mixed.mean.tolist(), mixed.u.tolist(), mixed.low.tolist(), mixed.high.tolist(), strict=True)
    return [
        _Estimate(value=value, u=u, low=low, high=high, shares=shares, weakest=weakest)
        for (value, u, low, high), shares, weakest in zip(columns, spread.shares, spread.weakest, strict=True)
    ]


def _adjusted(
    model: Model, numbers: Mapping[Line, int], observations: Sequence[Observation], *, careful: bool
) -> Adjusted:
    rows = np.array([numbers[observation.line] for observation in observations], dtype=np.int64)
    seen, repeats = np.unique(rows, return_inverse=True)

    def predict(x: Array) -> tuple[Array, Array]:
        readings, jacobian = model.network.predict(x)
        return readings[seen], jacobian[seen]

    return adjust(
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


def _inverse(normal: Array) -> Array:
    """Invert a normal matrix, scaled to a unit diagonal first because parameters mix metres and radians."""
    scale = 1.0 / np.sqrt(np.diag(normal))
    inverse: Array = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    return inverse
