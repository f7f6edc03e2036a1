"""What is asked of the quickest commands: they load nothing that they do not need."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = ("numpy", "bleak", "pydantic", "sqlite_utils", "sqlite3", "scipy", "rich", "serial", "asyncio")
ASK = """
import json, sys
from axledger.cli.main import main
code = main(sys.argv[1:])
print(json.dumps([code, sorted({name.split(".")[0] for name in sys.modules})]))
"""


@pytest.mark.parametrize("arguments", [["--version"], ["--help"]])
def test_start_up_loads_nothing_heavy(arguments: list[str]) -> None:
    ran = subprocess.run([sys.executable, "-c", ASK, *arguments], capture_output=True, text=True, check=True)
    printed, _, asked = ran.stdout.rstrip("\n").rpartition("\n")
    code, loaded = json.loads(asked)
    assert code == 0
    assert "axledger" in printed
    assert "axledger" in loaded
    assert sorted(set(loaded) & set(HEAVY)) == []
