"""Every module imports under its own name, and what it lists as public exists."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = ("src", "drivers", "calibration", "simulators")
POSIX_ONLY = {"axledger_simulators.peers.pty_port"}  # pseudo-terminals
COMMANDS = "axledger.cli"  # a command module's public names are always ``options`` and ``run``


def module_name(file: Path) -> str:
    parts = file.relative_to(ROOT).with_suffix("").parts[1:]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = {module_name(file): file for folder in FOLDERS for file in sorted((ROOT / folder).rglob("*.py"))}
NAMES = [
    name for name in FILES if not name.endswith("__main__") and (os.name == "posix" or name not in POSIX_ONLY)
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_module_imports_under_its_own_name(name: str) -> None:
    module = import_module(name)
    assert module.__file__ is not None
    assert Path(module.__file__).samefile(FILES[name])
    assert module.__doc__


@pytest.mark.parametrize("name", NAMES)
def test_every_public_name_is_there(name: str) -> None:
    module = import_module(name)
    public: list[str] = getattr(module, "__all__", [])
    assert [wanted for wanted in public if not hasattr(module, wanted)] == []
    assert len(set(public)) == len(public)
    assert [wanted for wanted in public if wanted.startswith("_")] == []


@pytest.mark.parametrize("name", [name for name in NAMES if FILES[name].name != "__init__.py"])
def test_module_says_what_is_public(name: str) -> None:
    module = import_module(name)
    if name.startswith(COMMANDS) and not hasattr(module, "__all__"):
        assert callable(getattr(module, "options", None))
        assert callable(getattr(module, "run", None))
    else:
        assert module.__all__


def test_nothing_outside_the_four_packages_is_installed_from_here() -> None:
    assert {name.split(".")[0] for name in FILES} == {
        "axledger",
        "axledger_calibration",
        "axledger_drivers",
        "axledger_simulators",
    }


def test_package_runs_as_a_module() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "axledger", "--version"], check=False, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("axledger ")


@pytest.mark.parametrize("package", sorted({name.split(".")[0] for name in FILES}))
def test_package_is_marked_as_typed(package: str) -> None:
    assert FILES[package].with_name("py.typed").is_file()
