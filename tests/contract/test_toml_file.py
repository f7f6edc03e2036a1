from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import BaseModel, ConfigDict

from axledger.contract.errors import BadFile
from axledger.contract.toml_file import load_toml, parse_toml


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid")
    size_m: float
    tags: list[str] = []


class Sheet(BaseModel):
    model_config = ConfigDict(extra="forbid")
    title: str
    part: list[Part] = []
    first: Part | None = None
    table: dict[str, Part] = {}


def faults(text: str) -> tuple[tuple[int, str], ...]:
    with pytest.raises(BadFile) as error:
        parse_toml(text, Sheet, path="sheet.toml", do="mend it")
    return error.value.faults


def lines(text: str) -> list[int]:
    return [line for line, _ in faults(text)]


def test_good_text() -> None:
    sheet = parse_toml('title = "a"\n[[part]]\nsize_m = 1.5\n', Sheet, path="sheet.toml", do="")
    assert sheet.part[0].size_m == 1.5


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("title = 4\n", [1]),
        ('title = "a"\nname = 1\n', [2]),
        ('title = "a"\n\n[first]\nsize_m = "x"\n', [4]),
        ('title = "a"\n[[part]]\nsize_m = 1\n# note\n[[part]]\nsize_m = "x"\n', [6]),
        ('title = "a"\n[[part]]\n[[part]]\n', [2, 3]),  # missing keys are told at the table's header
        ('title = "a"\n[table.left]\nsize_m = []\n', [3]),
        ('title = "a"\nfirst.size_m = "x"\n', [2]),
        ('title = "a"\nfirst = {size_m = "x"}\n', [2]),
        ('title = "a"\n[first]\nsize_m = 1\ntags = [\n  "x",\n  1,\n]\n', [4]),
        ('title = """\n[first]\nsize_m = 3\n"""\n[first]\nsize_m = "x"\n', [6]),  # keys in a long text are no keys
        ("size_m = 1\ntitle = 2\n", [1, 2]),
        ("", [0]),
    ],
)
def test_each_fault_names_its_line(text: str, expected: list[int]) -> None:
    assert lines(text) == expected


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('title = "a"\nb = = 1\n', 2),
        ('title = "a\n', 1),
        ("title = \n", 1),
        ('a = 1\nb = """x\n', 2),
        ("a = 1\na = 2\n", 2),
    ],
)
def test_text_that_is_no_toml_names_its_line(text: str, line: int) -> None:
    [(found, words)] = faults(text)
    assert found == line
    assert words.startswith("not TOML: ")


def test_files(tmp_path: Path) -> None:
    good, not_utf8 = tmp_path / "good.toml", tmp_path / "latin.toml"
    good.write_text('title = "a"\n', encoding="utf-8")
    not_utf8.write_bytes(b'title = "\xb0"\n')
    assert load_toml(good, Sheet, do="").title == "a"
    with pytest.raises(BadFile, match="latin") as latin:
        load_toml(not_utf8, Sheet, do="save it as UTF-8")
    assert "not UTF-8" in latin.value.found
    for missing in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(BadFile) as error:
            load_toml(missing, Sheet, do="check the path")
        assert error.value.path == str(missing)
        assert error.value.found
