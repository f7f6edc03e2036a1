from __future__ import annotations

import argparse
import getpass
import json
from pathlib import Path

import pytest
from platformdirs import user_data_path

from axledger.cli.folder import add_json, add_person, data_folder, own_folder, person_of, print_json


def test_the_environment_names_the_data_folder(home: Path) -> None:
    assert data_folder() == home


def test_a_tilde_stands_for_the_users_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AXLEDGER_HOME", "~/jobs")
    assert data_folder() == Path.home() / "jobs"


@pytest.mark.parametrize("value", [None, ""])
def test_without_a_name_it_is_the_systems_place_for_data(monkeypatch: pytest.MonkeyPatch, value: str | None) -> None:
    if value is None:
        monkeypatch.delenv("AXLEDGER_HOME")
    else:
        monkeypatch.setenv("AXLEDGER_HOME", value)
    assert data_folder() == user_data_path("axledger", appauthor=False)


def test_a_shops_own_shelf_counts_once_it_exists(home: Path) -> None:
    assert own_folder("layouts") is None
    (home / "layouts").mkdir(parents=True)
    assert own_folder("layouts") == home / "layouts"


def test_a_person_is_named_or_the_user_or_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    parser = argparse.ArgumentParser()
    add_person(parser)
    add_json(parser)
    assert person_of(parser.parse_args(["--person", "Ada"])) == "Ada"
    monkeypatch.setattr(getpass, "getuser", lambda: "grace")
    assert person_of(parser.parse_args(["--json"])) == "grace"

    def no_database() -> str:
        raise KeyError("uid not found")

    monkeypatch.setattr(getpass, "getuser", no_database)
    assert person_of(parser.parse_args([])) == "unnamed"


def test_json_is_one_line_with_letters_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    print_json({"name": "Ærø", "value": None})
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    assert "Ærø" in out
    assert json.loads(out) == {"name": "Ærø", "value": None}
