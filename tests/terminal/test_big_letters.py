from __future__ import annotations

import string
from importlib.resources import files

from axledger.job.layout import parse_layout, stations_of
from axledger.terminal.big_letters import HEIGHT, big, big_width

ALL = string.ascii_uppercase + string.digits + "fhir>+-. ?"


def test_every_letter_has_five_rows_of_one_width() -> None:
    for letter in ALL:
        rows = big(letter)
        assert len(rows) == HEIGHT
        assert {len(row) for row in rows} == {big_width(letter)}


def test_no_two_letters_look_alike() -> None:
    assert len({big(letter) for letter in ALL}) == len(ALL)


def test_ascii_is_ascii_and_draws_the_same() -> None:
    assert [row.replace("#", "█") for row in big("D1Lh", unicode=False)] == list(big("D1Lh"))
    assert "".join(big("D1Lh", unicode=False)).isascii()


def test_every_shipped_station_can_be_written() -> None:
    unknown = big("\x00")
    for entry in files("axledger.job").joinpath("layouts").iterdir():
        for unit in parse_layout(entry.read_text(encoding="utf-8"), path=entry.name).unit:
            for station in stations_of(unit):
                assert all(big(letter) != unknown for letter in station.name)


def test_nothing_takes_no_columns() -> None:
    assert big_width("") == 0
    assert big("") == ("",) * HEIGHT
