"""What further readings would do to the results that are not decided yet.

A prospect knows the covariance of the job's network, with every line in it that could still be shot and every
state a target could still be turned to; a state nobody has shot yet adds the seating it will have.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from axledger.contract.quantity import UNITS, from_si
from axledger.geometry.adjustment import Array
from axledger.geometry.conformity import Rule, Verdict
from axledger.geometry.results import evaluate
from axledger.geometry.what_if import Candidates, candidates_of, covariance_of
from axledger.job.layout import Layout
from axledger.job.model import Model
from axledger.job.solution import Line, Result, Solution, Solver

__all__ = ["LIKELY", "Aim", "Prospect", "aimed_units", "chance_of_decision", "odds", "prospect_of", "settled", "shown",
           "wanted_u"]  # fmt: skip


LIKELY = 0.7
"""How likely a decision should be before enough is enough: the new readings move the value, too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """A result to be decided or determined: ``wanted`` is the standard uncertainty that does it, SI.

    ``value`` is ``None`` for a result that is still to be determined.
    """

    key: str
    name: str
    unit: str
    value: float | None
    u: float
    wanted: float
    lower: float | None = None
    upper: float | None = None
    factor: float = 0.0


def wanted_u(value: float, lower: float | None, upper: float | None, factor: float) -> float:
    """Return the largest standard uncertainty at which ``value`` is decided, guard bands ``factor`` times u wide."""
    if lower is not None and value < lower:
        return (lower - value) / factor
    if upper is not None and value > upper:
        return (value - upper) / factor
    return min(math.inf if limit is None else abs(value - limit) / factor for limit in (lower, upper))


def chance_of_decision(aim: Aim, u: float) -> float:
    """Return the chance that an undecided result is decided once its uncertainty has come down to ``u``, SI.

    The readings that bring it down also move the value: by a normal amount of variance ``aim.u^2 - u^2``.
    """
    if aim.value is None or u >= aim.u:
        return 1.0 if u <= aim.wanted else 0.0
    value, spread, guard = aim.value, math.sqrt(aim.u**2 - u**2), aim.factor * u
    low, high = (-math.inf if aim.lower is None else aim.lower), (math.inf if aim.upper is None else aim.upper)

    def below(limit: float) -> float:
        return 0.5 * math.erfc((value - limit) / (spread * math.sqrt(2.0)))

    conforms = max(0.0, below(high - guard) - below(low + guard))
    return conforms + below(low - guard) + 1.0 - below(high + guard)


def settled(aim: Aim, u: float) -> bool:
    """Tell whether an uncertainty of ``u`` decides the aim as its value stands, and likely does so when it is there."""
    return u <= aim.wanted and chance_of_decision(aim, u) >= LIKELY


def odds(chance: float) -> str:
    """Return a chance in words, nothing where it is as good as certain."""
    return "" if chance > 0.95 else f" in {round(10 * chance)} of 10 cases"


def shown(aim: Aim, u: float, *, unit: bool = True) -> str:
    """Return U (2 u) in the aim's unit with two significant digits: ``±0.045 deg``."""
    expanded = 2.0 * float(from_si(u, UNITS[aim.unit]))
    decimals = max(0, 1 - math.floor(math.log10(expanded)))
    return f"±{expanded:.{decimals}f}{f' {aim.unit}' if unit else ''}"


def _aimed(results: Sequence[Result]) -> list[Result]:
    """Return the undecided results, or where there are none those not determined."""
    for verdict in (Verdict.UNDECIDED, Verdict.UNDETERMINED):
        if aimed := [result for result in results if result.verdict is verdict]:
            return aimed
    return []


def aimed_units(results: Sequence[Result]) -> frozenset[str]:
    """Return the units whose results want something."""
    return frozenset(result.key.split(".")[0] for result in _aimed(results))


def _aim(result: Result, factor: float, prior_u: float, layout: Layout) -> Aim:
    if result.value is not None and result.u is not None:
        wanted, value, u = wanted_u(result.value, result.lower, result.upper, factor), result.value, result.u
    else:
        # determined: within the layout's bound, and the readings halve what was known without them
        most = {"deg": math.radians(layout.most_u_deg), "mm": layout.most_u_mm * 1e-3}[result.unit]
        wanted, value, u = min(0.5 * prior_u * (1.0 - 1e-9), most), None, result.forecast_u
    return Aim(
        key=result.key, name=result.name, unit=result.unit, value=value, u=u, wanted=wanted, lower=result.lower,
        upper=result.upper, factor=factor,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Prospect:
    """The aims, and the lines that could be shot.

    ``rows`` the number of each line among ``candidates``. ``stretch`` ``(r,)``: the aim's stated uncertainty over the
    network's own, where something beyond one network (an uncertain factor of the settings) widened it.
    """

    aims: tuple[Aim, ...]
    candidates: Candidates
    rows: Mapping[Line, int]
    stretch: Array

    @property
    def u(self) -> Array:
        """Return the standard uncertainty of each aim, SI, ``(r,)``."""
        return np.asarray(self.stretch * np.sqrt(self.candidates.variance))

    @property
    def wanted(self) -> Array:
        """Return the uncertainty each aim wants, SI, ``(r,)``."""
        return np.array([aim.wanted for aim in self.aims])

    def only(self, keep: Sequence[bool]) -> Prospect:
        """Return the prospect of some of the aims."""
        kept = [number for number, stays in enumerate(keep) if stays]
        return replace(
            self,
            aims=tuple(self.aims[number] for number in kept),
            candidates=self.candidates.of_results(kept),
            stretch=self.stretch[kept],
        )

    def left_alone(self, lines: Sequence[Line], readings: Sequence[int]) -> Array:
        """Return each aim's uncertainty if one line alone were shot, ``(m, r)``, with ``readings`` of each."""
        return self._left(self.candidates.alone(self._of(lines), readings))

    def left_together(self, lines: Sequence[Line], readings: int) -> Array:
        """Return each aim's uncertainty if all ``lines`` were shot, ``(r,)``, with ``readings`` of each."""
        return self._left(self.candidates.together(self._of(lines), readings))

    def after(self, lines: Sequence[Line], readings: Sequence[int]) -> Prospect:
        """Return what is known after ``lines`` were shot."""
        return replace(self, candidates=self.candidates.after(self._of(lines), readings))

    def _of(self, lines: Sequence[Line]) -> list[int]:
        return [self.rows[line] for line in lines]

    def _left(self, gained: Array) -> Array:
        return np.asarray(self.stretch * np.sqrt(np.maximum(self.candidates.variance - gained, 0.0)))


def prospect_of(solver: Solver, solution: Solution, lines: Sequence[Line], rule: Rule) -> Prospect:
    """Return the prospect of a solved round in which ``lines`` could still be shot.

    It aims at the undecided results, and only where there are none at those not determined.
    """
    taken = Counter(observation.line for observation in solution.observations)
    model, rows = solver.model_of(sorted({*taken, *lines}, key=repr))
    x, prior_sd = _carried(solution, model), _prior_sd(solution, model)
    _, jacobian = model.network.predict(x)
    seen = [rows[line] for line in taken]
    sd = model.sd[seen] / np.sqrt(np.array(list(taken.values()), dtype=np.float64))
    covariance = covariance_of(jacobian[seen], sd, prior_sd)
    formulas = {formula.key: formula.value.gradient for unit in model.units for formula in evaluate(unit, x)}
    aimed = _aimed(solution.results)
    gradients = np.array([formulas[result.key] for result in aimed]).reshape(len(aimed), len(x))
    priors = np.sqrt((gradients**2) @ prior_sd**2).tolist()
    aims = tuple(_aim(result, rule.factor, prior, solver.layout) for result, prior in zip(aimed, priors, strict=True))
    candidates = candidates_of(covariance, gradients, jacobian, model.sd)
    stretch = np.array([aim.u for aim in aims]) / np.sqrt(candidates.variance)
    return Prospect(aims=aims, candidates=candidates, rows=rows, stretch=stretch)


def _prior_sd(solution: Solution, model: Model) -> Array:
    """Return the priors with the settings as bad as the readings make them: advice must not trust them more."""
    factor = dict(zip(solution.settings.kinds, solution.typical.tolist(), strict=True))
    prior_sd = model.prior_sd.copy()
    for number, one in model.settings.items():
        prior_sd[number] *= factor.get(one.kind, 1.0) if one.scaled else 1.0
    return prior_sd


def _carried(solution: Solution, model: Model) -> Array:
    """Return the solved parameters in the order of ``model``; what it has beyond them stands at its prior."""
    solved = dict(zip(solution.model.names, solution.adjusted.x.tolist(), strict=True))
    return np.array([
        solved.get(name, mean) for name, mean in zip(model.names, model.prior.tolist(), strict=True)
    ])  # fmt: skip
