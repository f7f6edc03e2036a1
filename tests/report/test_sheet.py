from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest

from axledger.job.preparation import CAUTIONS
from axledger.job.state import JobState
from axledger.report.sheet import sheet_html

_VOID = {"meta"}


class _Reader(HTMLParser):
    """Checks nesting; gathers tags with their attributes and the words of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, Mapping[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _sheet(state: JobState, **more: Any) -> str:
    given: dict[str, Any] = {
        "statement": None, "head_size": 77, "head_root": "ab" * 32, "versions": {"axledger": "0.1"},
        "instruments_seq": {"meter": 4}, "generated": "2025-03-01 12:00 UTC", **more,
    }  # fmt: skip
    return sheet_html(state, **given)


def _read(html: str) -> _Reader:
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


def test_the_sheet_is_one_well_formed_page_that_asks_for_nothing(two_rounds: JobState) -> None:
    html = _sheet(two_rounds)
    reader = _read(html)
    assert html.startswith("<!DOCTYPE html>")
    tags = {tag for tag, _ in reader.tags}
    assert not tags & {"script", "img", "link", "iframe", "object", "form", "a"}
    attributes = {name for _, found in reader.tags for name in found}
    assert not attributes & {"src", "href", "onload", "onclick", "style"}
    assert "http://" not in html
    assert "https://" not in html
    assert ("html", {"lang": "en"}) in reader.tags


def test_headings_go_down_one_level_at_a_time_and_ids_are_unique(two_rounds: JobState) -> None:
    reader = _read(_sheet(two_rounds))
    levels = [int(tag[1]) for tag, _ in reader.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    names = [found["id"] for _, found in reader.tags if "id" in found]
    assert len(names) == len(set(names))
    assert all("scope" in found for tag, found in reader.tags if tag == "th")
    assert all("aria-label" in found or "aria-hidden" in found for tag, found in reader.tags if tag == "svg")


def test_the_sheet_holds_all_its_parts(two_rounds: JobState) -> None:
    words = " ".join(_read(_sheet(two_rounds)).words)
    for part in ("EX-204", "EXAMPLE LIMITS", "Rounds side by side", "2 mm shim", "settings taken as stated", "meter-a",
                 "wheels chocked", "4.320 m", "ab" * 32, "77", "NOT CLOSED", "roadworthiness", *CAUTIONS):  # fmt: skip
        assert part in words


def test_a_closed_job_names_its_statement(state: JobState) -> None:
    statement = {"person": "Bea", "head": {"size": 70, "root": "cd" * 32}}
    words = " ".join(_read(_sheet(replace(state, closed=True), statement=statement)).words)
    assert "its statement stands" in words
    assert "Closed by Bea" in words
    assert "cd" * 32 in words


_HOSTILE = [
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "</style></head><body onload=x>", "]]>&lt;b&gt;",
    "\x00\x1b[2J\u202e", "' onmouseover='x", "<!-- ", "</svg><a href='https://example.invalid'>",
]  # fmt: skip


@pytest.mark.parametrize("evil", _HOSTILE)
def test_text_from_devices_and_people_is_never_markup(two_rounds: JobState, evil: str) -> None:
    readings = tuple(
        replace(reading, text=evil, unit="m", why=evil, instrument=evil) for reading in two_rounds.readings
    )
    meter = two_rounds.instruments["meter"].model_copy(update={"serial": evil, "last_check": evil, "name": evil})
    results = tuple(replace(result, name=f"{evil}: {evil}", source=evil) for result in two_rounds.results)
    unit = two_rounds.layout.unit[0]
    layout = two_rounds.layout.model_copy(
        update={"title": evil, "source": evil, "unit": (unit.model_copy(update={"name": evil}),)}
    )
    state = replace(
        two_rounds, job=evil, person=evil, vehicle={evil: evil}, layout=layout, limits_title=evil, rule=evil,
        results=results, readings=readings, instruments={evil: meter}, moves=((1, evil),), notes=(evil,),
        blocked=(evil,), preparation=(("chocks", "words", evil),),
    )  # fmt: skip
    statement = {"person": evil, "head": {"size": evil, "root": evil}}
    html = _sheet(state, statement=statement, versions={evil: evil}, generated=evil, head_root=evil)
    plain, hostile = _read(_sheet(two_rounds, statement={"person": "x"})), _read(html)
    assert {tag for tag, _ in hostile.tags} <= {tag for tag, _ in plain.tags}
    names = {name for _, found in hostile.tags for name in found}
    assert names <= {name for _, found in plain.tags for name in found}
    assert not re.search(r"[\x00-\x08\x0b-\x1f\u202e]", html)
