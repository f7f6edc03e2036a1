"""Entry points load, are unique, and are those of pyproject.toml: a stale installation shows here."""

from __future__ import annotations

import tomllib
from importlib.metadata import EntryPoint, distribution, entry_points
from pathlib import Path
from typing import Any

import pytest

import axledger

ROOT = Path(__file__).parents[2]


def declared() -> set[tuple[str, str, str]]:
    project: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    groups: dict[str, dict[str, str]] = {"console_scripts": project["scripts"], **project["entry-points"]}
    return {(group, name, value) for group, names in groups.items() for name, value in names.items()}


def installed() -> list[EntryPoint]:
    return list(distribution("axledger").entry_points)


def test_installed_entry_points_are_those_of_pyproject() -> None:
    assert {(entry.group, entry.name, entry.value) for entry in installed()} == declared()


def test_names_are_unique_within_their_group() -> None:
    names = [
        (entry.group, entry.name) for group in {e.group for e in installed()} for entry in entry_points(group=group)
    ]
    ours = [name for name in names if name in {(entry.group, entry.name) for entry in installed()}]
    assert len(set(ours)) == len(ours)


@pytest.mark.parametrize("entry", installed(), ids=lambda entry: f"{entry.group}-{entry.name}")
def test_entry_point_loads(entry: EntryPoint) -> None:
    loaded = entry.load()
    if entry.group == "axledger.profiles":
        assert [file for file in Path(loaded.__file__).parent.iterdir() if file.suffix == ".toml"]
    else:
        assert callable(loaded)


def test_installed_version_is_that_of_the_package() -> None:
    assert distribution("axledger").version == axledger.__version__
