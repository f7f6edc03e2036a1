"""What the documents say can be done is done here, or at least understood by the real command line.

A fenced block whose info line is ``sh run`` is run, line by line, in a data folder of its own; one marked
``sh run background`` is started before the next block and must end by itself with code 0. In every other ``sh`` block
each line that starts with ``axledger`` must parse. And every command and option stands in README or DEVELOPERS.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, cast

import pytest

from axledger.terminal.keys import COMMANDS as LINES
from axledger.terminal.keys import KEYS

ROOT = Path(__file__).parents[2]
FRONT = (ROOT / "README.md", ROOT / "DEVELOPERS.md")
DOCUMENTS = (*FRONT, ROOT / "examples" / "README.md")
COMMAND_LINE: Any = import_module("axledger.cli.main")  # the parser is private and is what is judged here
COMMANDS: dict[str, tuple[str, str]] = COMMAND_LINE._COMMANDS
TIMEOUT_S = 180


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    document: str
    line: int
    info: str
    lines: tuple[str, ...]

    @property
    def commands(self) -> tuple[str, ...]:
        return tuple(line for line in self.lines if line.startswith("axledger"))


def blocks(document: Path) -> Iterator[Block]:
    info, first, inner = None, 0, list[str]()
    for number, line in enumerate(document.read_text(encoding="utf-8").splitlines(), start=1):
        if not line.startswith("```"):
            inner.append(line)
        elif info is None:
            info, first, inner = line[3:].strip(), number, []
        else:
            yield Block(document=document.name, line=first, info=info, lines=tuple(inner))
            info = None
    assert info is None, f"{document.name}: the block at line {first} does not end"


def words_of(command: str) -> list[str]:
    words = shlex.split(command, comments=True)
    assert words[0] == "axledger", command
    return words[1:]


ALL_COMMANDS = [
    pytest.param(command, id=f"{block.document}:{block.line} {command}")
    for document in DOCUMENTS
    for block in blocks(document)
    if block.info.startswith("sh")
    for command in block.commands
]
RUN_DOCUMENTS = [d for d in DOCUMENTS if any(block.info.startswith("sh run") for block in blocks(d))]


@pytest.mark.parametrize("command", ALL_COMMANDS)
def test_command_is_understood(command: str) -> None:
    words = words_of(command)
    wanted = next((word for word in words if not word.startswith("-")), None)
    if words == ["--version"]:
        return
    parsed = COMMAND_LINE._parser(wanted).parse_args(words)
    assert parsed.command in COMMANDS


def environment(home: Path) -> dict[str, str]:
    return {**os.environ, "AXLEDGER_HOME": str(home), "PYTHONIOENCODING": "utf-8", "NO_COLOR": "1"}


def start(command: str, home: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "axledger", *words_of(command)],
        cwd=ROOT, env=environment(home), text=True, encoding="utf-8",
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def finish(command: str, process: subprocess.Popen[str]) -> None:
    output, _ = process.communicate(timeout=TIMEOUT_S)
    assert process.returncode == 0, f"{command}\n{output}"


def wait_until_enrolled(home: Path) -> None:
    """The first terminal is ready when its devices are in the ledger; the reader of the text waits as well."""
    until = time.monotonic() + 30
    known = [sys.executable, "-m", "axledger", "enrol", "--json"]
    while time.monotonic() < until:
        listed = subprocess.run(known, env=environment(home), check=False, capture_output=True, text=True, timeout=30)
        if listed.returncode == 0 and "sim-inclinometer" in listed.stdout:
            return
        time.sleep(0.1)
    pytest.fail("the simulated devices were not enrolled in time")


@pytest.mark.slow
@pytest.mark.parametrize("document", RUN_DOCUMENTS, ids=lambda document: document.relative_to(ROOT).as_posix())
def test_blocks_marked_to_be_run_do_what_they_say(document: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    background: list[tuple[str, subprocess.Popen[str]]] = []
    try:
        for block in blocks(document):
            for command in block.commands if block.info.startswith("sh run") else ():
                process = start(command, home)
                if block.info.endswith("background"):
                    background.append((command, process))
                    wait_until_enrolled(home)
                else:
                    finish(command, process)
        for command, process in background:
            finish(command, process)
    finally:
        for _, process in background:
            process.kill()
            process.communicate()


def inner_parsers(action: argparse.Action) -> dict[str, argparse.ArgumentParser]:
    choices: object = action.choices
    return cast("dict[str, argparse.ArgumentParser]", choices) if isinstance(choices, dict) else {}


def options_of(parser: argparse.ArgumentParser, path: str) -> Iterator[tuple[str, str]]:
    """Yield each command path with each of its long options; the path alone with an empty option."""
    yield path, ""
    actions: Any = getattr(parser, "_actions")  # noqa: B009 - argparse offers no public list
    for action in actions:
        for name, inner in inner_parsers(action).items():
            yield from options_of(inner, f"{path} {name}".strip())
        yield from ((path, option) for option in action.option_strings if option not in ("-h", "--help"))


def every_option() -> list[tuple[str, str]]:
    """A parser knows all commands and the options of the one it was made for."""
    found = {pair for name in COMMANDS for pair in options_of(COMMAND_LINE._parser(name), "axledger")}
    return sorted(found)


@pytest.mark.parametrize(("path", "option"), every_option(), ids=lambda part: part.replace(" ", "-") or "itself")
def test_command_and_option_stand_in_the_text(path: str, option: str) -> None:
    """``axledger profiles list`` may stand as ``axledger profiles list|show|check`` in a table."""
    text = "\n".join(document.read_text(encoding="utf-8") for document in FRONT)
    command, _, inner = path.removeprefix("axledger").strip().partition(" ")
    assert f"axledger {command}" in text
    if inner:
        assert re.search(rf"axledger {command} [a-z|\\]*\b{inner}\b", text)
    if option:
        assert re.search(rf"(?<![\w-]){re.escape(option)}(?![\w-])", text)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda document: document.relative_to(ROOT).as_posix())
def test_inline_commands_exist(document: Path) -> None:
    named = re.findall(r"`axledger ([a-z]+)", document.read_text(encoding="utf-8"))
    assert sorted(set(named) - set(COMMANDS)) == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda document: document.relative_to(ROOT).as_posix())
def test_paths_named_in_the_text_exist(document: Path) -> None:
    top = r"(?:src|drivers|calibration|simulators|tests|examples)"
    named = set(re.findall(rf"`({top}/[\w./-]+)`", document.read_text(encoding="utf-8")))
    assert sorted(path for path in named if not (ROOT / path).exists()) == []


def test_readme_leads_to_a_result_within_sixty_lines() -> None:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    first = next(number for number, line in enumerate(lines, start=1) if line.endswith("axledger demo"))
    assert first <= 60
    assert lines[0].startswith("# ")
    assert not lines[2].startswith(("#", "`", "-", "|"))


def test_readme_ends_with_the_changes() -> None:
    headings = re.findall(r"^## (.+)$", (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert headings[-1] == "Changes"


@pytest.mark.parametrize("setting", ["AXLEDGER_HOME", "AXLEDGER_TRACEBACK"])
def test_environment_variables_stand_in_the_text(setting: str) -> None:
    assert any(setting in document.read_text(encoding="utf-8") for document in FRONT)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda document: document.relative_to(ROOT).as_posix())
def test_tests_named_in_the_text_exist(document: Path) -> None:
    named = re.findall(r"`(tests/[\w/]+\.py)(?:::(\w+))?`", document.read_text(encoding="utf-8"))
    missing = [
        f"{path}::{test}"
        for path, test in named
        if not (ROOT / path).is_file() or f"def {test}" not in (ROOT / path).read_text(encoding="utf-8")
    ]
    assert missing == []


def test_keys_and_lines_of_a_running_job_stand_in_the_readme() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [key for key in KEYS if key.isprintable() and f"`{key}`" not in text] == []
    assert [name for name in LINES if not re.search(rf"`{name}[ `]", text)] == []
