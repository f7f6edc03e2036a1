from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Callable

import pytest

from axledger import __version__
from axledger.cli.main import main

Run = Callable[..., tuple[int, str, str]]

COMMANDS = (
    "demo",
    "ports",
    "enrol",
    "listen",
    "profiles",
    "layouts",
    "limits",
    "job",
    "report",
    "verify",
    "replay",
    "sim",
)
_SHELF = ("list", "show", "check")
DOING = {"job": ("new", "run", "show", "close"), "profiles": _SHELF, "layouts": _SHELF, "limits": _SHELF}
EVERY = [(), *((command,) for command in COMMANDS)] + [
    (command, word) for command, words in DOING.items() for word in words
]


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_every_command_explains_itself(run: Run, words: tuple[str, ...]) -> None:
    code, out, err = run(*words, "--help")
    assert (code, err) == (0, "")
    assert out.startswith(f"usage: axledger {' '.join(words)}".rstrip())
    assert "--help" in out


def test_the_first_help_names_every_command(run: Run) -> None:
    _, out, _ = run("--help")
    listed = [line.split()[0] for line in out.splitlines() if line.startswith("    ") and line[4] != " "]
    assert tuple(listed) == COMMANDS


def test_every_command_that_prints_data_takes_json(run: Run) -> None:
    for words in EVERY:
        if len(words) == 2 or (words and words[0] not in DOING):
            _, out, _ = run(*words, "--help")
            assert "--json" in out, words


def test_the_version_is_told(run: Run) -> None:
    assert run("--version") == (0, f"axledger {__version__}\n", "")


@pytest.mark.parametrize("words", [("polish",), (), ("job",), ("job", "paint"), ("demo", "--seed", "x"), ("limits",)])
def test_bad_use_ends_with_two_and_says_what_is_allowed(run: Run, words: tuple[str, ...]) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert err.startswith("usage: axledger")
    assert "error:" in err


def test_the_module_runs_and_hands_its_exit_code_on() -> None:
    done = subprocess.run([sys.executable, "-m", "axledger", "polish"], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "polish" in done.stderr


def test_an_interruption_ends_with_130_and_says_that_nothing_is_lost(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(_parsed: argparse.Namespace) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("axledger.cli.verify.run", interrupted)
    assert main(["verify"]) == 130
    assert "everything that arrived is in the ledger" in capsys.readouterr().err


def test_an_error_nobody_foresaw_has_its_parts_and_no_traceback_unless_asked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(_parsed: argparse.Namespace) -> int:
        raise ZeroDivisionError("by an invented bug")

    monkeypatch.setattr("axledger.cli.verify.run", broken)
    assert main(["verify"]) == 3
    err = capsys.readouterr().err
    assert "ZeroDivisionError: by an invented bug (test_main.py, line" in err
    assert "Traceback" not in err
    for label in ("what:", "found:", "allowed:", "do:", "kept:"):
        assert label in err
    monkeypatch.setenv("AXLEDGER_TRACEBACK", "1")
    assert main(["verify"]) == 3
    assert "Traceback" in capsys.readouterr().err


def test_a_reader_that_goes_away_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    def unread(_parsed: argparse.Namespace) -> int:
        raise BrokenPipeError

    class Closable:
        closed = False

        def close(self) -> None:
            self.closed = True

    stream = Closable()
    monkeypatch.setattr("axledger.cli.verify.run", unread)
    monkeypatch.setattr(sys, "stderr", stream)
    assert main(["verify"]) == 0
    assert stream.closed
