"""The sheet a job is handed over with: one HTML file that asks nothing of the outside and runs nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from axledger.drawing.figures import Units
from axledger.drawing.plan_svg import plan_svg
from axledger.job.preparation import CAUTIONS
from axledger.job.state import JobState
from axledger.report.markup import Content, Markup, heading, joined, listed, rows_table, tag
from axledger.report.next_section import next_section
from axledger.report.record_section import (
    instrument_section,
    preparation_section,
    reading_section,
    setting_section,
    utc_words,
    work_section,
)
from axledger.report.result_section import result_section, rounds_section
from axledger.report.style import STYLE

__all__ = ["sheet_html"]


def sheet_html(
    state: JobState,
    *,
    statement: Mapping[str, Any] | None,
    head_size: int,
    head_root: str,
    versions: Mapping[str, str],
    instruments_seq: Mapping[str, int],
    generated: str,
    units: Units | None = None,
) -> str:
    """Return the sheet as a complete HTML document.

    ``statement`` is the body of the job's statement, ``None`` while the job is open. ``head_size`` and
    ``head_root`` are the ledger's tree head the sheet was made at. ``instruments_seq`` gives by role the entry of
    the instrument record in force. ``generated`` is the moment of making, as text.
    """
    shown = units or Units()
    title = f"Axle geometry, job {state.job}"
    body = joined(
        (
            _top(state, title, statement),
            _vehicle(state),
            result_section(state, shown),
            rounds_section(state, shown),
            next_section(state),
            work_section(state),
            setting_section(state.layout),
            instrument_section(state, instruments_seq),
            preparation_section(state),
            heading("Cautions", listed(CAUTIONS), anchor="cautions"),
            reading_section(state, shown),
            _proof(statement, head_size, head_root, versions, generated),
        )
    )
    head = joined(
        (
            Markup('<meta charset="utf-8">'),
            Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            Markup(
                '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
                "style-src 'unsafe-inline'\">"
            ),
            tag("title", title),
            Markup(f"<style>{STYLE}</style>"),
        )
    )
    page = tag("html", tag("head", head), tag("body", tag("main", body)), lang="en")
    return f"<!DOCTYPE html>\n{page}\n"


def _top(state: JobState, title: str, statement: Mapping[str, Any] | None) -> Markup:
    standing = "closed, its statement stands" if statement is not None else "NOT CLOSED: these results may still change"
    rounds = f"{state.round} round{'s' if state.round > 1 else ''}"
    opened = f"Opened {utc_words(state.opened_utc_ns)} by {state.person}; {rounds}; {standing}."
    return tag("header", tag("h1", title), tag("p", opened))


def _vehicle(state: JobState) -> Markup:
    rows: list[list[Content]] = [[name, value] for name, value in state.vehicle.items()]
    rows.append(["layout", state.layout.title])
    plans = [plan_svg(unit) for unit in state.layout.unit]
    figures = [
        tag("figure", Markup(plan), tag("figcaption", f"{unit.name} with its stations"))
        for plan, unit in zip(plans, state.layout.unit, strict=True)
    ]
    return heading("Vehicle", rows_table("As entered", ("", "value"), rows), *figures, anchor="vehicle")


def _proof(
    statement: Mapping[str, Any] | None, size: int, root: str, versions: Mapping[str, str], generated: str
) -> Markup:
    """Return what ties the sheet to the ledger."""
    rows: list[list[Content]] = [
        ["ledger entries", str(size)],
        ["ledger head: root of its hash tree", tag("code", root)],
        ["made", generated],
        *([f"version of {name}", version] for name, version in versions.items()),
    ]
    parts: list[Content] = []
    if statement is not None:
        stated: Mapping[str, Any] = statement.get("head", {})
        parts.append(tag("p", f"Closed by {statement.get('person', 'unknown')}. The statement rests on the first "
                              f"{stated.get('size', '?')} entries, root "), )  # fmt: skip
        parts.append(tag("code", str(stated.get("root", "?"))))
    parts.append(rows_table("What this sheet was made from", ("", "value"), rows))
    parts.append(tag("p", "Check this sheet against the ledger with: axledger verify. These are measurements, not a "
                          "roadworthiness certificate."))  # fmt: skip
    return heading("Where this can be checked", *parts, anchor="proof")
