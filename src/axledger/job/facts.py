"""The bodies of ledger entries: the facts a job is folded from.

Every body has ``kind``; those with a moment have ``mono`` (monotonic ns) and ``utc`` (ns since 1970), both as
decimal text because they outgrow what a JSON number holds exactly. Bytes are hex.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from axledger.contract.instrument import Instrument
from axledger.contract.profile import profile_digest
from axledger.contract.transport import Stamp
from axledger.job.layout import Layout
from axledger.job.limits import LimitSheet

__all__ = [
    "Body",
    "act",
    "arrival",
    "content",
    "instrument_record",
    "job_opened",
    "layout_record",
    "limits_record",
    "link",
    "profile_record",
    "statement",
    "target_record",
]

Body = dict[str, Any]


def _moment(stamp: Stamp) -> Body:
    return {"mono": str(stamp.mono_ns), "utc": str(stamp.utc_ns)}


def content(model: Layout | LimitSheet) -> Body:
    """Return a layout or limit sheet as plain JSON data, field names as in its file."""
    return model.model_dump(mode="json", by_alias=True, exclude_none=True)


def _digest(data: Body) -> str:
    return hashlib.sha256(json.dumps(data, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def layout_record(layout: Layout) -> Body:
    """Return the record of a layout, named by the digest of its content."""
    data = content(layout)
    return {"kind": "layout", "digest": _digest(data), "layout": data}


def limits_record(limits: LimitSheet) -> Body:
    """Return the record of a limit sheet, named by the digest of its content."""
    data = content(limits)
    return {"kind": "limits", "digest": _digest(data), "limits": data}


def profile_record(text: str) -> Body:
    """Return the record of a profile: its text and the digest that names it."""
    return {"kind": "profile", "digest": profile_digest(text), "text": text}


def instrument_record(instrument: Instrument, *, person: str, stamp: Stamp) -> Body:
    """Return the record of an instrument as it is known from now on."""
    data = instrument.model_dump(mode="json")
    return {"kind": "instrument", "name": instrument.name, "instrument": data, "person": person, **_moment(stamp)}


def target_record(enrolment: Body, *, person: str, stamp: Stamp) -> Body:
    """Return the enrolment of a target: its mark, kind, bias and the pairs it comes from."""
    return {"kind": "target", **enrolment, "person": person, **_moment(stamp)}


def job_opened(
    job: str,
    *,
    layout: str,
    limits: str | None,
    instruments: Mapping[str, int],
    repeats: int,
    vehicle: Mapping[str, str],
    person: str,
    stamp: Stamp,
    chosen: Body | None = None,
    targets: Mapping[str, str] | None = None,
    settings: Body | None = None,
) -> Body:
    """Return the opening of a job.

    ``layout`` and ``limits`` are digests, ``instruments`` maps a role ("meter", "inclinometer") to the sequence
    number of the instrument record in force, ``vehicle`` holds unit number, odometer, load, tyre pressures.
    ``chosen`` says how much of the walk is taken: ``procedure``, ``turns``, ``parts``. ``targets`` maps places to
    marks, ``settings`` is what is known of crew and targets.
    """
    return {
        "kind": "job",
        "job": job,
        "layout": layout,
        "limits": limits,
        "instruments": dict(instruments),
        "repeats": repeats,
        "vehicle": dict(vehicle),
        "person": person,
        **({"chosen": chosen} if chosen is not None else {}),
        **({"targets": dict(targets)} if targets else {}),
        **({"settings": settings} if settings else {}),
        **_moment(stamp),
    }


def link(
    link_id: str,
    event: str,
    stamp: Stamp,
    *,
    job: str | None,
    role: str = "",
    instrument: str = "",
    profile: str = "",
    address: str = "",
    identity: Mapping[str, str] | None = None,
    why: str = "",
) -> Body:
    """Return what became of a link: ``event`` is opened, lost, recovered, silent or closed."""
    body: Body = {"kind": "link", "link": link_id, "event": event, **_moment(stamp)}
    optional = {"job": job, "role": role, "instrument": instrument, "profile": profile, "address": address, "why": why}
    body |= {name: value for name, value in optional.items() if value}
    if identity:
        body["identity"] = dict(identity)
    return body


def arrival(
    link_id: str, number: int, data: bytes, stamp: Stamp, *, job: str | None, channel: str = "", sent: bool = False
) -> Body:
    """Return bytes that arrived on a link (or, with ``sent``, left on it); ``number`` counts per link."""
    body: Body = {
        "kind": "arrival",
        "link": link_id,
        "n": number,
        "dir": "out" if sent else "in",
        "hex": data.hex(),
        **_moment(stamp),
    }
    if job is not None:
        body["job"] = job
    if channel:
        body["channel"] = channel
    return body


def act(job: str, name: str, stamp: Stamp, *, person: str, device: str, **arguments: Any) -> Body:
    """Return something a person did, with its arguments (JSON values)."""
    return {
        "kind": "act",
        "job": job,
        "act": name,
        "person": person,
        "device": device,
        **arguments,
        **_moment(stamp),
    }


def statement(
    job: str, *, round_number: int, results: Sequence[Body], rule: str, versions: Mapping[str, str], head: Body,
    person: str, stamp: Stamp, facts: Body,
) -> Body:  # fmt: skip
    """Return what a closed job states: results, rule, versions, the tree head it rests on, and further facts."""
    return {
        "kind": "statement",
        "job": job,
        "round": round_number,
        "results": list(results),
        "rule": rule,
        "versions": dict(versions),
        "head": head,
        "person": person,
        **facts,
        **_moment(stamp),
    }
