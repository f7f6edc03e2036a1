"""What a job's readings alone say of the zero of each instrument: one point of its drift chart per round.

The record's own prior is taken out again. An estimate ``x`` of variance ``v`` that came from a prior ``m`` of
variance ``p`` and from readings weighs ``1/v - 1/p`` by the readings alone (weighted mean of two independent
values, undone). A chart of many jobs is then a chart of the instrument, not of its record.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from axledger.contract.instrument import Instrument
from axledger.contract.quantity import UNITS, Quantity, from_si
from axledger.job.model import Sight
from axledger.job.solution import Solution

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["InstrumentSeen", "instruments_seen", "seen_body", "unweighted"]

_LEAST_SHARE = 1e-6
"""Below this share of the prior's weight the readings say nothing that rounding could not have made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentSeen:
    """An instrument's ``zero`` as a round's readings see it, with standard uncertainty ``u``, m or rad.

    In the sense of the record: what is added to a length, and what an inclination shows on a level. ``readings``
    counts the accepted readings of that quantity in the round.
    """

    instrument: str
    quantity: Quantity
    round: int
    zero: float
    u: float
    readings: int


def unweighted(value: float, u: float, prior: float, prior_u: float) -> tuple[float, float] | None:
    """Return value and standard uncertainty without the prior; ``None`` where nothing but the prior is in them."""
    weight, of_prior = u**-2, prior_u**-2
    rest = weight - of_prior
    if rest <= _LEAST_SHARE * of_prior:
        return None
    return (weight * value - of_prior * prior) / rest, math.sqrt(1.0 / rest)


def instruments_seen(fold: JobFold) -> tuple[InstrumentSeen, ...]:
    """Return what each round of the job says of the zeros of its instruments, oldest round first.

    An instrument whose zero is known exactly, or of which the readings say nothing, is left out; so is a round
    whose readings contradict each other.
    """
    seen: list[InstrumentSeen] = []
    for number in range(1, fold.board.round + 1):
        solution = fold.fresh_solution(number)
        if solution is not None and not solution.contradicts:
            seen += _of_round(solution, list(fold.instruments.values()), number)
    return tuple(seen)


def _of_round(solution: Solution, instruments: list[Instrument], number: int) -> Iterator[InstrumentSeen]:
    counts = Counter(
        Quantity.LENGTH if isinstance(observation.line, Sight) else Quantity.INCLINATION
        for observation in solution.observations
    )
    for name, quantity in dict.fromkeys(
        (instrument.name, quantity) for instrument in instruments for quantity in instrument.quantities
    ):
        parameter = f"{name}.{quantity.value}.zero"
        estimate = solution.parameter(parameter)
        if estimate is None or not counts[quantity]:
            continue
        index = solution.model.names.index(parameter)
        prior, prior_u = float(solution.model.prior[index]), float(solution.model.prior_sd[index])
        if (alone := unweighted(*estimate, prior, prior_u)) is not None:
            yield InstrumentSeen(
                instrument=name, quantity=quantity, round=number, zero=_sign(quantity) * alone[0], u=alone[1],
                readings=counts[quantity],
            )  # fmt: skip


def _sign(quantity: Quantity) -> float:
    """Return +1, or -1 for an inclination: the network carries what the instrument shows, the record corrects it."""
    return -1.0 if quantity is Quantity.INCLINATION else 1.0


def seen_body(seen: InstrumentSeen) -> dict[str, Any]:
    """Return the estimate as JSON data in the quantity's display unit, mm or deg."""
    unit = "mm" if seen.quantity is Quantity.LENGTH else "deg"
    return {
        "instrument": seen.instrument,
        "quantity": seen.quantity.value,
        "round": seen.round,
        "unit": unit,
        "zero": from_si(seen.zero, UNITS[unit]),
        "u": from_si(seen.u, UNITS[unit]),
        "readings": seen.readings,
    }
