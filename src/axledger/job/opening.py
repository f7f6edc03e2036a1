"""Open a job: write the records it rests on and its opening; find jobs and instruments in the ledger."""

from __future__ import annotations

import heapq
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from axledger.contract.decoder import Decoder
from axledger.contract.errors import BadInput, Refused, UnknownName
from axledger.contract.instrument import Instrument
from axledger.contract.profile import Profile
from axledger.contract.quantity import Quantity
from axledger.contract.transport import Stamp
from axledger.job.facts import Body, instrument_record, job_opened, layout_record, limits_record
from axledger.job.fold import JobFold
from axledger.job.in_force import in_force_body, marks_of, targets_of
from axledger.job.layout import Layout
from axledger.job.limits import LimitSheet
from axledger.job.plan import Chosen, plan_shots
from axledger.job.target_history import history_in
from axledger.job.tilts import role_of_tilt
from axledger.ledger import Entry, Ledger

__all__ = [
    "RECORDS",
    "Enrolled",
    "enrol",
    "entries_of",
    "fold_job",
    "instruments_in",
    "job_names",
    "latest_job",
    "open_job",
]

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")

HISTORY = frozenset({"job", "target", "statement"})
"""Kinds of entries that tell of settings."""

RECORDS = frozenset({"profile", "layout", "limits", "instrument"})
"""Kinds of entries that belong to no job."""


@dataclass(frozen=True, slots=True)
class Enrolled:
    """An instrument and the sequence number of the record in force."""

    seq: int
    instrument: Instrument


def instruments_in(ledger: Ledger) -> dict[str, Enrolled]:
    """Return the newest record of every instrument by name."""
    return {
        str(entry.body["name"]): Enrolled(entry.seq, Instrument.model_validate(entry.body["instrument"]))
        for entry in ledger.entries(kinds={"instrument"})
    }


def enrol(ledger: Ledger, instrument: Instrument, *, person: str, stamp: Stamp) -> Enrolled:
    """Record an instrument as it is known from now on."""
    (entry,) = ledger.append([instrument_record(instrument, person=person, stamp=stamp)])
    return Enrolled(entry.seq, instrument)


def job_names(ledger: Ledger) -> tuple[str, ...]:
    """Return all jobs, oldest first."""
    return tuple(str(entry.body["job"]) for entry in ledger.entries(kinds={"job"}))


def latest_job(ledger: Ledger) -> str:
    """Return the newest job; raise ``UnknownName`` where there is none."""
    names = job_names(ledger)
    if not names:
        raise UnknownName("job", "latest", [], do="open one with `axledger job new`")
    return names[-1]


def open_job(
    ledger: Ledger,
    layout: Layout,
    limits: LimitSheet | None,
    roles: Mapping[str, Enrolled],
    *,
    stamp: Stamp,
    person: str,
    vehicle: Mapping[str, str] | None = None,
    repeats: int = 2,
    name: str | None = None,
    chosen: Chosen | None = None,
    marks: Mapping[str, str] | None = None,
) -> str:
    """Write a job's records and opening in one transaction; return its name.

    ``roles`` maps "meter" and, where the layout asks for inclinations, "inclinometer" to instruments. Raises
    ``BadInput`` where a role is missing or an instrument does not measure what it must, ``Refused`` where an
    instrument is not in use or the name is taken. ``marks`` names the targets that are not the usual ones, by place
    ("D1Lh"); what is known of crew and targets is written into the opening.
    """
    named = _marks(layout, marks or {})
    _check_chosen(layout, chosen or Chosen())
    _check_roles(layout, roles, chosen or Chosen())
    if not 1 <= repeats <= 5:
        raise BadInput("repeats must be sensible", found=str(repeats), allowed="1 to 5", do="choose 2")
    if name is not None and not _NAME.fullmatch(name):
        raise BadInput(
            "a job cannot be called so", found=repr(name),
            allowed="letters, digits, dot, dash and underscore, at most 64, the first a letter or digit",
            do="choose another name: it also names the sheet's file",
        )  # fmt: skip
    job = name or _fresh_name(ledger, stamp)
    if name is not None and name in job_names(ledger):
        raise Refused(f"job {name} exists", found=name, allowed="a new name", do="choose another, or run that job")
    bodies: list[Body] = [layout_record(layout)]
    if limits is not None:
        bodies.append(limits_record(limits))
    bodies.append(
        job_opened(
            job,
            layout=bodies[0]["digest"],
            limits=bodies[1]["digest"] if limits is not None else None,
            instruments={role: enrolled.seq for role, enrolled in roles.items()},
            repeats=repeats,
            vehicle=vehicle or {},
            person=person,
            stamp=stamp,
            chosen=_chosen_body(chosen) if chosen is not None else None,
            targets=named,
            settings=in_force_body(history_in(ledger.entries(kinds=HISTORY)).in_force(layout, named, person)),
        )
    )
    ledger.append(bodies)
    return job


def _marks(layout: Layout, given: Mapping[str, str]) -> dict[str, str]:
    """Return the marks of all targets by place; refuse a place there is none at, and a mark named twice."""
    known = targets_of(layout)
    for place in given:
        if place not in known:
            raise UnknownName("target", place, sorted(known), do="name the place as the plan does, such as D1Lh")
    marks = {**marks_of(layout), **given}
    if twice := sorted({mark for mark in marks.values() if list(marks.values()).count(mark) > 1}):
        raise BadInput(
            f"{', '.join(twice)} cannot hang at two places", found="a mark named twice",
            allowed="a mark for each target", do="name the target at the other place too",
        )  # fmt: skip
    return marks


def _chosen_body(chosen: Chosen) -> Body:
    return {"procedure": chosen.procedure, "turns": chosen.turns, "parts": sorted(chosen.parts)}


def _check_chosen(layout: Layout, chosen: Chosen) -> None:
    """Refuse a part that no stand of the layout has, and a walk without any shot."""
    offered = {stand.part for unit in layout.unit for stand in unit.stand if stand.part}
    if strange := sorted(set(chosen.parts) - offered):
        raise BadInput(
            f"{layout.name} has no part {', '.join(strange)}", found=", ".join(strange),
            allowed=", ".join(sorted(offered)) or "no optional part",
            do="leave it out, or add its stands to a layout file",
        )  # fmt: skip
    if not any(shot.kind == "distance" for shot in plan_shots(layout, chosen=chosen)):
        raise BadInput(
            f"{layout.name} has no {chosen.procedure} walk", found=f"procedure {chosen.procedure}",
            allowed="a procedure that takes shots", do="open the job with the default procedure",
        )  # fmt: skip


def _check_roles(layout: Layout, roles: Mapping[str, Enrolled], chosen: Chosen) -> None:
    wanted = {"meter": Quantity.LENGTH}
    taken = {role_of_tilt(tilt) for unit in layout.unit for stand in unit.stand if chosen.takes(stand)
             for tilt in stand.tilts}  # fmt: skip
    wanted.update(dict.fromkeys(sorted(taken), Quantity.INCLINATION))
    for role, quantity in wanted.items():
        if role not in roles:
            raise BadInput(
                f"the job has no {role}", found=", ".join(sorted(roles)) or "no instrument",
                allowed=f"an enrolled instrument that measures {quantity.value}",
                do=f"enrol one with `axledger enrol`, then name it with --{role}",
            )  # fmt: skip
        instrument = roles[role].instrument
        if quantity not in instrument.quantities:
            raise BadInput(
                f"{instrument.name} cannot be the {role}",
                found=", ".join(known.value for known in instrument.quantities) or "nothing",
                allowed=quantity.value, do="name another instrument",
            )  # fmt: skip
        if instrument.state != "in use":
            raise Refused(
                f"{instrument.name} is {instrument.state}", found=instrument.state, allowed="in use",
                do="use another instrument, or enrol this one again after a good check",
            )  # fmt: skip


def _fresh_name(ledger: Ledger, stamp: Stamp) -> str:
    day = datetime.fromtimestamp(stamp.utc_ns / 1e9, UTC).strftime("%Y%m%d")
    taken = set(job_names(ledger))
    return next(name for number in range(1, 10_000) if (name := f"{day}-{number}") not in taken)


def entries_of(ledger: Ledger, job: str, *, after: int = 0) -> Iterator[Entry]:
    """Yield, in order, the entries a job is folded from: its own, and the records that jobs share."""
    own = ledger.entries(after=after, job=job)
    return heapq.merge(ledger.entries(after=after, kinds=RECORDS), own, key=lambda entry: entry.seq)


def fold_job(ledger: Ledger, job: str, make_decoder: Callable[[Profile], Decoder]) -> JobFold:
    """Fold a job from the ledger; raise ``UnknownName`` where there is none of that name."""
    fold = JobFold(job, make_decoder)
    for entry in entries_of(ledger, job):
        fold.apply(entry)
    if fold.header is None:
        raise UnknownName("job", job, job_names(ledger), do="see `axledger job show` for the jobs there are")
    return fold
