"""The command line in this process, in a data folder of its own; what a test starts ends with it."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from axledger.cli.main import main
from axledger.job.library import load_layout, load_limit_sheet
from axledger_simulators.demo import Demo, run_demo


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The data folder, not made yet."""
    monkeypatch.setenv("AXLEDGER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path / "home"


@pytest.fixture(autouse=True)
def threads_end() -> Iterator[None]:
    """Fail where a thread started in the test lives longer than it."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in threading.enumerate() if thread not in before]
    for thread in left:
        thread.join(3.0)
    assert [thread.name for thread in left if thread.is_alive()] == []


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run a command; return its exit code, output and error output."""

    def called(*arguments: str) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main(arguments)
        out, err = capsys.readouterr()
        return code, out, err

    return called


@pytest.fixture
def done(run: Callable[..., tuple[int, str, str]]) -> Callable[..., str]:
    """Run a command that must succeed; return its output."""

    def called(*arguments: str) -> str:
        code, out, err = run(*arguments)
        assert code == 0, err
        return out

    return called


@pytest.fixture
def done_json(done: Callable[..., str]) -> Callable[..., Any]:
    """Run a command with ``--json``; return the one object it printed."""
    return lambda *arguments: json.loads(done(*arguments, "--json"))


@pytest.fixture
def fails(run: Callable[..., tuple[int, str, str]]) -> Callable[..., str]:
    """Run a command that must fail with ``code`` in four parts, foreseen; return the error's text."""

    def called(code: int, *arguments: str) -> str:
        got, _, err = run(*arguments)
        assert got == code, err
        assert err.startswith("axledger ")
        labels = [line[:10].strip() for line in err.splitlines()[1:] if line[8:10] == ": "]
        assert labels[:4] == ["what:", "found:", "allowed:", "do:"], err
        assert "Traceback" not in err
        assert "did not foresee" not in err
        return err

    return called


@pytest.fixture
def typed_in(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let standard input hold these lines."""

    def put(*lines: str) -> None:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return put


@pytest.fixture(scope="session")
def worked_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of a closed job on the smallest example; to be copied, not used."""
    folder = tmp_path_factory.mktemp("worked") / "home"
    demo = Demo(
        layout=load_layout("semitrailer-1axle"), limits=load_limit_sheet("example-trailer"), seed=4, folder=folder
    )
    run_demo(demo, lambda _fold, _told: None)
    return folder


@pytest.fixture
def worked(worked_folder: Path, home: Path) -> Path:
    """A data folder with the closed job ``demo-4-1`` in it."""
    shutil.copytree(worked_folder, home)
    return home


@pytest.fixture
def spawn(home: Path) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Start the command line in a process of its own; all end with the test."""
    started: list[subprocess.Popen[str]] = []

    def begin(*arguments: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "axledger", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        )
        started.append(process)
        return process

    yield begin
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate(timeout=10)
