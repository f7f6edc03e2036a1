"""Projections: jobs, readings, instruments and results as plain tables that any SQLite tool can read.

They stand in a file of their own, are made from the entries alone, and can be dropped and rebuilt at any time.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from axledger.contract.decoder import Decoder
from axledger.contract.profile import Profile
from axledger.job.fold import JobFold
from axledger.job.opening import fold_job, job_names
from axledger.job.statements import results_of
from axledger.ledger import Ledger
from axledger.ledger.projection import rebuild

__all__ = ["project", "rebuild_projections"]

Row = dict[str, Any]
Tables = dict[str, list[Row]]


def project(ledger: Ledger, make_decoder: Callable[[Profile], Decoder]) -> Tables:
    """Return the rows of all tables; values in SI, times in ns since 1970 as text."""
    tables: Tables = {"jobs": [], "readings": [], "instruments": [], "results": []}
    for entry in ledger.entries(kinds={"instrument"}):
        record: Any = entry.body["instrument"]
        tables["instruments"].append(
            {"entry": entry.seq, "name": record["name"], "profile": record["profile"], "address": record["address"],
             "state": record["state"], "last_check": record["last_check"], "record": json.dumps(record)}
        )  # fmt: skip
    for job in job_names(ledger):
        fold = fold_job(ledger, job, make_decoder)
        tables["jobs"].append(_job(fold))
        tables["readings"] += [_reading(fold, number) for number in sorted(fold.readings)]
        tables["results"] += [{"job": job, **result} for result in results_of(fold)]
    return tables


def _job(fold: JobFold) -> Row:
    header, layout = fold.header, fold.layout
    if header is None or layout is None:
        raise LookupError(f"no job {fold.job} among the entries")
    return {
        "job": fold.job,
        "entry": header.seq,
        "vehicle": layout.name,
        "person": header.person,
        "utc_ns": str(header.utc_ns),
        "rounds": fold.board.round,
        "closed": int(fold.closed),
        "details": json.dumps(dict(header.vehicle)),
    }


def _reading(fold: JobFold, number: int) -> Row:
    reading, place = fold.readings[number], fold.board.places[number]
    return {
        "job": fold.job,
        "number": number,
        "entry": reading.seq,
        "instrument": reading.instrument,
        "raw_hex": reading.raw.hex(),
        "utc_ns": str(reading.utc_ns),
        **{quantity.value + "_si": value[0] for quantity, value in reading.values.items()},
        "state": place.state,
        "why": place.why,
        "shot": place.shot,
        "round": place.round,
    }


def rebuild_projections(ledger: Ledger, make_decoder: Callable[[Profile], Decoder]) -> Path:
    """Write the projection file beside the ledger anew; return where it is."""
    return rebuild(ledger.folder, project(ledger, make_decoder))
