"""Replay: recompute every job from its arrivals and compare with what the live run understood and stated."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from axledger.contract.decoder import Decoder
from axledger.contract.errors import AxledgerError
from axledger.contract.profile import Profile
from axledger.contract.quantity import UNITS, to_si
from axledger.job.digest import digests
from axledger.job.fold import JobFold
from axledger.job.opening import entries_of, job_names
from axledger.job.statements import results_of
from axledger.ledger import Ledger

__all__ = ["Difference", "Replayed", "replay"]

_TOLERANCE_SI = 1e-9
"""Another build or processor may change the last digits of a number; on one build it comes out bit for bit."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Something that came out otherwise: in which job, at which entry, what, as recorded and as replayed."""

    job: str
    seq: int
    what: str
    recorded: str
    replayed: str


@dataclass(slots=True)
class Replayed:
    """What replay found. ``compared`` counts checkpoints and statements; ``frames`` and ``readings`` were redone.

    ``how`` is "bit for bit" where every number came out the same, "within 1e-9" where some differ by less than
    1e-9 m or 1e-9 rad, as another build or processor may make them.
    """

    jobs: int = 0
    frames: int = 0
    readings: int = 0
    compared: int = 0
    how: str = "bit for bit"
    differences: list[Difference] = field(default_factory=list[Difference])

    @property
    def identical(self) -> bool:
        """Tell whether nothing came out otherwise."""
        return not self.differences


def replay(
    ledger: Ledger, make_decoder: Callable[[Profile], Decoder], *, jobs: Sequence[str] | None = None
) -> Replayed:
    """Fold every job (or ``jobs``) again from its entries and compare at each checkpoint and statement."""
    wanted = [name for name in job_names(ledger) if not jobs or name in jobs]
    found = Replayed(jobs=len(wanted))
    for job in wanted:
        fold = JobFold(job, make_decoder)
        for entry in entries_of(ledger, job):
            if entry.kind in ("checkpoint", "statement"):
                _compare(found, fold, entry.seq, entry.body)
            try:
                fold.apply(entry)
            except AxledgerError as error:
                found.differences.append(Difference(job, entry.seq, entry.kind, "accepted", error.what))
        found.frames += len(fold.heard)
        found.readings += len(fold.readings)
    return found


def _compare(found: Replayed, fold: JobFold, seq: int, body: Mapping[str, Any]) -> None:
    found.compared += 1
    fold.quiet(int(body["mono"]))
    again = digests(fold)
    for name, recorded in dict(body["digests"]).items():
        if again.get(name) != recorded:
            found.differences.append(Difference(fold.job, seq, name, recorded, again.get(name, "nothing")))
    if body["kind"] == "statement":
        _compare_results(found, fold, seq, body)


def _compare_results(found: Replayed, fold: JobFold, seq: int, body: Mapping[str, Any]) -> None:
    recorded = {(result["key"], result["round"]): result for result in body["results"]}
    again = {(result["key"], result["round"]): result for result in results_of(fold)}
    for key in sorted(set(recorded) | set(again)):
        before, after = recorded.get(key), again.get(key)
        if before is not None and after is not None and _agree(before, after):
            if any(before[name] != after[name] for name in (*_NUMBERS, "probability")):
                found.how = "within 1e-9"
            continue
        what = f"{key[0]}, round {key[1]}"
        found.differences.append(Difference(fold.job, seq, what, _short(before), _short(after)))


_NUMBERS = ("value", "u95", "lower", "upper")


def _agree(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    words = ("verdict", "unit", "name", "against")
    return all(before[name] == after[name] for name in words) and all(
        _near(before[name], after[name], before["unit"]) for name in _NUMBERS
    )


def _short(result: Mapping[str, Any] | None) -> str:
    return "nothing" if result is None else f"{result['value']} +- {result['u95']} {result['unit']} {result['verdict']}"


def _near(before: float | None, after: float | None, unit: str) -> bool:
    if before is None or after is None:
        return before is after
    return abs(to_si(Fraction(before - after), UNITS[unit])) <= _TOLERANCE_SI
