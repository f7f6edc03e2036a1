from __future__ import annotations

import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

STREAMS = Path(__file__).parents[1] / "drivers" / "streams"


def shipped(shelf: str) -> set[str]:
    package, folder = {
        "profiles": ("axledger_drivers", "profiles"), "layouts": ("axledger.job", "layouts"),
        "limits": ("axledger.job", "limit_sheets"),
    }[shelf]  # fmt: skip
    return {
        entry.name.removesuffix(".toml")
        for entry in files(package).joinpath(folder).iterdir()
        if entry.name.endswith(".toml")
    }


@pytest.mark.parametrize("shelf", ["profiles", "layouts", "limits"])
def test_everything_shipped_is_listed_and_shown(
    done: Callable[..., str], done_json: Callable[..., Any], shelf: str
) -> None:
    names = [row["name"] for row in done_json(shelf, "list")]
    assert set(names) == shipped(shelf)
    assert [line.split()[0] for line in done(shelf, "list").splitlines()] == names
    for name in names:
        assert done_json(shelf, "show", name)["name"] == name
        out = done(shelf, "show", name)
        assert out.startswith(f"{name}: ")
        assert out.count("\n") >= 2


def test_facts_say_what_matters(done: Callable[..., str]) -> None:
    assert "every line of sight is clear" in done("layouts", "show", "semitrailer-1axle")
    assert "8 shots in the walk" in done("layouts", "show", "semitrailer-1axle")
    assert "EXAMPLE, not for real vehicles" in done("limits", "show", "example-trailer")
    assert "measures length" in done("profiles", "show", "metre-line")


@pytest.mark.parametrize("shelf", ["profiles", "layouts", "limits"])
def test_an_unknown_name_lists_the_known_ones(fails: Callable[..., str], shelf: str) -> None:
    err = fails(2, shelf, "show", "nonesuch")
    assert all(name in err for name in shipped(shelf))


@pytest.mark.parametrize("shelf", ["profiles", "layouts", "limits"])
def test_a_file_of_ones_own_is_checked_and_then_used_by_name(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], shelf: str
) -> None:
    name = {"profiles": "metre-line", "layouts": "semitrailer-1axle", "limits": "example-trailer"}[shelf]
    package, folder = {
        "profiles": ("axledger_drivers", "profiles"), "layouts": ("axledger.job", "layouts"),
        "limits": ("axledger.job", "limit_sheets"),
    }[shelf]  # fmt: skip
    text = files(package).joinpath(folder, f"{name}.toml").read_text(encoding="utf-8")
    own = home / shelf / "own-copy.toml"
    own.parent.mkdir(parents=True)
    own.write_text(text.replace(f'name = "{name}"', 'name = "own-copy"'), encoding="utf-8")
    assert done(shelf, "check", str(own)).startswith(f"{own}: in order (")
    assert done_json(shelf, "check", str(own))["ok"] is True
    assert "own-copy" in [row["name"] for row in done_json(shelf, "list")]
    assert done_json(shelf, "show", "own-copy")["name"] == "own-copy"


BAD = {
    "profiles": (
        'schema = 1\nname = "own"\ntitle = "example"\ntransports = []\n\n[[line]]\nkind = "measured"\n'
        "pattern = '('\nvalue = []\n",
        ("line 4", "line 8"),
    ),
    "layouts": (
        'schema = 1\nname = "own"\ntitle = "example"\nsource = "invented"\n\n[[unit]]\nid = "t"\nname = "t"\n'
        'kind = "flying"\nreference = "coupling"\n',
        ("line 9",),
    ),
    "limits": (
        'schema = 1\nname = "own"\ntitle = "example"\nexample = true\n\n[[limit]]\nkey = "*.*.offset"\nunit = "stone"\n'
        'upper = 8\nsource = "invented"\nrevision = "1"\n',
        ("line 8",),
    ),
}


@pytest.mark.parametrize("shelf", list(BAD))
def test_every_fault_of_a_file_is_named_with_its_line(fails: Callable[..., str], tmp_path: Path, shelf: str) -> None:
    text, lines = BAD[shelf]
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    err = fails(2, shelf, "check", str(path))
    assert f"{path} cannot be used" in err
    assert all(line in err for line in lines), err


@pytest.mark.parametrize("shelf", ["profiles", "layouts", "limits"])
def test_files_that_are_no_toml_are_told(fails: Callable[..., str], tmp_path: Path, shelf: str) -> None:
    path = tmp_path / "own.toml"
    path.write_text('schema = 1\nname = "own\n', encoding="utf-8")
    assert "line 2" in fails(2, shelf, "check", str(path))
    path.write_bytes(b'name = "\xff"\n')
    assert str(path) in fails(2, shelf, "check", str(path))
    assert str(tmp_path / "gone.toml") in fails(2, shelf, "check", str(tmp_path / "gone.toml"))
    text = tmp_path / "own.txt"
    text.write_text("schema = 1\n", encoding="utf-8")
    assert "does not end in .toml" in fails(2, shelf, "check", str(text))


def test_a_profile_is_tried_on_a_recorded_stream(
    tmp_path: Path, done: Callable[..., str], done_json: Callable[..., Any]
) -> None:
    stream = tmp_path / "stream.jsonl"
    lines = [b"4.318m\r\n", b"ERR255\r\n", b"43x18m\r\n"]
    stream.write_text(
        "".join(json.dumps({"t": at, "hex": line.hex()}) + "\n" for at, line in enumerate(lines)), encoding="utf-8"
    )
    frames = done_json("profiles", "check", "metre-line", "--on", str(stream))["frames"]
    kinds = [frame["outcome"] for frame in frames if frame["outcome"] != "Status"]
    assert kinds == ["Measured", "DeviceFault", "Unreadable"]
    assert (frames[0]["si"], frames[0]["text"], frames[0]["unit"]) == (4.318, "4.318", "m")
    out = done("profiles", "check", "metre-line", "--on", str(stream))
    assert "text 4.318" in out
    assert "code 255" in out


def test_a_stream_goes_with_profiles_only_and_must_be_one(fails: Callable[..., str], tmp_path: Path) -> None:
    stream = tmp_path / "stream.jsonl"
    stream.write_text('{"t": 0, "hex": "34"}\n{"t": 1, "hex": "3"}\n', encoding="utf-8")
    assert "line 2" in fails(2, "profiles", "check", "metre-line", "--on", str(stream))
    assert "--on goes with profiles" in fails(2, "layouts", "check", "semitrailer-1axle", "--on", str(stream))
    assert "gone" in fails(2, "profiles", "check", "metre-line", "--on", str(tmp_path / "gone.jsonl"))
