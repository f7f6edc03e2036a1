"""What may stand in the repository. Patterns are put together here, so that this file does not match itself."""

from __future__ import annotations

import re
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = {"src", "drivers", "tests", "simulators", "calibration", "examples"}
FILES = {"README.md", "DEVELOPERS.md", "pyproject.toml"}

UNFINISHED = ("TO" + "DO", "FIX" + "ME", "XX" + "X", "NotImplemented" + "Error")
MACHINE_PATHS = tuple("/".join(("", *parts, "")) for parts in (("work",), ("root",), ("home", "runner"), ("Users",)))
REGISTRY_HOSTS = ("py" + "pi.org", "python" + "hosted", "npm" + "js", "proxy.go" + "lang", "conda" + ".io")
WAYS_ROUND_TESTS = ("pytest.mark.sk" + "ip", "pytest.sk" + "ip", "mark.x" + "fail", "pytest.x" + "fail")
BARE_IGNORES = (r"#\s*no" + r"qa(?!:\s*[A-Z])", r"type:\s*ig" + r"nore(?!\[)", r"pyright:\s*ig" + r"nore(?!\[)")


def made_by_tools(name: str) -> bool:
    """Tell whether ``.gitignore`` names it, as it does what builds and installations leave behind."""
    patterns = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    return any(fnmatch(name, pattern.rstrip("/")) for pattern in patterns)


def texts() -> list[Path]:
    inner = [file for folder in sorted(FOLDERS) for file in sorted((ROOT / folder).rglob("*")) if file.is_file()]
    kept = [file for file in inner if not any(made_by_tools(part) for part in file.relative_to(ROOT).parts)]
    return [*kept, *(ROOT / name for name in sorted(FILES)), ROOT / ".ci" / "run", ROOT / ".gitignore"]


def found(patterns: tuple[str, ...]) -> list[str]:
    matcher = re.compile("|".join(patterns))
    return [
        f"{file.relative_to(ROOT).as_posix()}:{number}: {match[0]}"
        for file in texts()
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1)
        if (match := matcher.search(line))
    ]


def test_top_level_is_exactly_what_is_allowed() -> None:
    here = {entry.name for entry in ROOT.iterdir() if not entry.name.startswith(".") and not made_by_tools(entry.name)}
    assert here == FOLDERS | FILES


def test_only_packages_stand_in_the_package_folders() -> None:
    for folder in ("src", "drivers", "calibration", "simulators"):
        inner = [entry.name for entry in (ROOT / folder).iterdir() if not made_by_tools(entry.name)]
        assert len(inner) == 1, f"{folder} holds {inner}"
        assert (ROOT / folder / inner[0] / "__init__.py").is_file()


def test_every_file_is_text_with_unix_line_ends() -> None:
    strange = [file.relative_to(ROOT).as_posix() for file in texts() if b"\r" in file.read_bytes()]
    assert strange == []
    for file in texts():
        file.read_text(encoding="utf-8")


def test_nothing_is_left_unfinished() -> None:
    assert found(tuple(rf"\b{word}\b" for word in UNFINISHED)) == []


@pytest.mark.parametrize("path", MACHINE_PATHS)
def test_no_path_of_a_particular_machine(path: str) -> None:
    assert found((rf"(?<![\w.~-]){re.escape(path)}",)) == []


def test_no_host_of_a_package_registry() -> None:
    assert found(tuple(map(re.escape, REGISTRY_HOSTS))) == []


def test_no_test_is_left_out() -> None:
    assert found(tuple(map(re.escape, WAYS_ROUND_TESTS))) == []


def test_every_exception_from_a_checker_names_its_rule() -> None:
    assert found(BARE_IGNORES) == []


def test_modules_are_named_after_the_trade() -> None:
    vague = {"utils", "util", "helpers", "helper", "common", "misc", "base"}
    assert [file.name for file in texts() if file.suffix == ".py" and file.stem in vague] == []


def test_no_file_of_code_is_longer_than_five_hundred_lines() -> None:
    long = {
        file.relative_to(ROOT).as_posix(): count
        for file in texts()
        if file.suffix == ".py" and (count := len(file.read_text(encoding="utf-8").splitlines())) > 500
    }
    assert long == {}
