"""The sheet's records: every reading, the instruments, what was taken as stated, preparation, work done."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from axledger.contract.quantity import Quantity
from axledger.drawing.figures import Units, reading_words, spread_words
from axledger.job.layout import Layout
from axledger.job.state import JobState
from axledger.job.tally import PARTS
from axledger.report.markup import Content, Markup, heading, listed, rows_table, tag

__all__ = [
    "instrument_section",
    "preparation_section",
    "reading_section",
    "setting_section",
    "utc_words",
    "work_section",
]


def utc_words(utc_ns: int) -> str:
    """Return a moment (ns since 1970) in UTC to the second."""
    return datetime.fromtimestamp(utc_ns // 1_000_000_000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def reading_section(state: JobState, units: Units) -> Markup:
    """Return every reading that arrived, whatever became of it, and the count of arrivals."""
    rows: list[list[Content]] = [
        [
            str(reading.number),
            str(reading.seq),
            utc_words(reading.utc_ns),
            reading.instrument,
            f"{reading.text} {reading.unit}",
            reading_words(reading.value_si, reading.unit, units),
            str(reading.round),
            reading.shot or "none",
            reading.state,
            reading.why,
        ]
        for reading in state.readings
    ]
    columns = ("no", "entry", "time", "instrument", "as sent", "value", "round", "shot", "state", "why")
    counts = state.counts
    sums = " + ".join(f"{part} {counts[part]}" for part in PARTS)
    return heading(
        "Every reading",
        tag("p", f"Arrivals: received {counts['received']} = {sums}."),
        rows_table("In order of arrival; no reading is ever changed or removed", columns, rows, class_="readings"),
        anchor="readings",
    )


def instrument_section(state: JobState, instruments_seq: Mapping[str, int]) -> Markup:
    """Return the instruments with what was known of them when the job was opened."""
    rows: list[list[Content]] = []
    for role, instrument in state.instruments.items():
        for quantity, record in instrument.quantities.items():
            unit = "mm" if quantity is Quantity.LENGTH else "deg"
            rows.append(
                [
                    f"{instrument.name} ({role})",
                    instrument.serial or "not recorded",
                    instrument.profile,
                    quantity.value,
                    spread_words(record.repeatability, unit),
                    spread_words(record.resolution, unit),
                    f"{spread_words(record.zero, unit)}, u {spread_words(record.u_zero, unit)}",
                    f"{record.scale:.2g}, u {record.u_scale:.2g}",
                    instrument.last_check or "never checked",
                    f"{instrument.state}; record {instruments_seq.get(role, 'unknown')}",
                ]
            )
    columns = (
        "instrument", "serial", "profile", "quantity", "repeatability", "resolution", "zero correction", "scale",
        "last check", "state",
    )  # fmt: skip
    never = [instrument.name for instrument in state.instruments.values() if instrument.last_check is None]
    parts: list[Content] = [
        tag("p", f"Never checked: {', '.join(never)}. What the sheet says of uncertainty rests on the figures below, "
                 "which no check has confirmed.", class_="loud", role="note")
    ] if never else []  # fmt: skip
    parts.append(rows_table("As recorded in the ledger; u is a standard uncertainty", columns, rows, class_="readings"))
    if state.meter_zero is not None:
        value, u = state.meter_zero
        parts.append(tag("p", f"Zero correction of the meter as this job's own readings find it: "
                              f"{value * 1000:+.2f} mm, u {u * 1000:.2f} mm."))  # fmt: skip
    return heading("Instruments", *parts, anchor="instruments")


_SETTING_WORDS = {
    "bias": "of the object itself", "seating": "at each hanging", "hub": "hub against axis", "rest": "drop and hook",
    "across": "sideways", "span": "half-spacing", "along": "place along", "end": "straightedge end",
}  # fmt: skip


def setting_section(layout: Layout) -> Markup:
    """Return how well every kind of target is taken to be set: the results rest on it."""
    rows: list[list[Content]] = []
    for unit in layout.unit:
        for mount in unit.mount:
            stated = mount.stated.model_dump()
            words = ", ".join(f"{_SETTING_WORDS[name]} {value:g}" for name, value in stated.items() if value)
            place = mount.axle or mount.code or ""
            origin = "the layout" if mount.setting is not None else "the program's working figures"
            rows.append([f"{unit.name}, {place}: {mount.kind.value}", words or "exact", origin])
    return heading(
        "What the results rest on",
        tag("p", "The results rest on settings taken as stated: how well targets hang and fit is not measured here but "
                 "taken from the figures below (standard deviations, mm) and tested only as far as the readings can."),
        tag("p", f"Layout: {layout.title}. Source of its dimensions: {layout.source}."),
        rows_table("Targets", ("target", "standard deviations, mm", "stated by"), rows),
        anchor="settings",
    )  # fmt: skip


def preparation_section(state: JobState) -> Markup:
    """Return the preparation list with who ticked what, what was left open said plainly."""
    rows: list[list[Content]] = [
        [words, "not ticked" if note is None else "ticked", note or ""] for _, words, note in state.preparation
    ]
    return heading(
        "Preparation", rows_table("Before the first shot", ("item", "state", "note"), rows), anchor="preparation"
    )


def work_section(state: JobState) -> Markup:
    """Return work done between rounds, notes, shots that were blocked or skipped; nothing where there is none."""
    parts: list[Content] = []
    if state.moves:
        moves = (f"after round {number}: {words}" for number, words in state.moves)
        parts += [tag("h3", "Work done"), listed(moves)]
    if state.notes:
        parts += [tag("h3", "Notes"), listed(state.notes)]
    left_out = [f"{name}: blocked" for name in state.blocked]
    left_out += [f"{view.shot.id}: {view.status}" for view in state.shots if view.status != "done"]
    if left_out:
        parts += [tag("h3", "Shots not taken"), listed(left_out)]
    unturned = [f"{view.shot.id}: {', '.join(view.shot.turn)}" for view in state.shots if view.turned == "not turned"]
    if unturned:
        parts += [tag("h3", "Targets left unturned"), listed(unturned)]
    return heading("Work, notes and what was left out", *parts, anchor="work") if parts else Markup("")
