"""What other processes and sudden ends do to a ledger, with real processes."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from axledger.contract.errors import StorageCause, StorageTrouble
from axledger.ledger import Ledger, verify_folder

APPENDING = """
import sys
from pathlib import Path
from axledger.ledger import Ledger
print("begin", flush=True)
number = 0
ledger = Ledger.open(Path(sys.argv[1]))
while True:
    burst = [{"kind": "arrival", "number": number + extra} for extra in range(1 + number % 4)]
    number += len(burst)
    print(*(entry.seq for entry in ledger.append(burst)), flush=True)
"""

HOLDING = """
import os, sys
from pathlib import Path
from axledger.ledger import Ledger
with Ledger.open(Path(sys.argv[1])) as ledger:
    ledger.append([{"kind": "held"}])
    print(os.getpid(), flush=True)
    sys.stdin.readline()
    ledger.append([{"kind": "last"}])
"""


def start(program: str, folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", program, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def run_and_kill(folder: Path, lines: int) -> list[int]:
    """Kill a writer after so many acknowledged bursts; return every number it acknowledged."""
    with start(APPENDING, folder) as process:
        assert process.stdout is not None
        read = [process.stdout.readline() for _ in range(lines + 1)]
        process.kill()
        read += process.stdout.readlines()
    # A last line cut off in the middle was still not said to anybody.
    return [int(seq) for line in read[1:] if line.endswith("\n") for seq in line.split()]


@pytest.mark.slow
@pytest.mark.parametrize("round_", range(10))
def test_a_killed_writer_has_lost_nothing_it_acknowledged(tmp_path: Path, round_: int) -> None:
    moments = random.Random(f"moments {round_}")
    acknowledged: list[int] = []
    for lines in (0 if round_ == 0 else moments.randrange(1, 150), moments.randrange(1, 150)):
        acknowledged += run_and_kill(tmp_path, lines)
        report = verify_folder(tmp_path) if (tmp_path / "ledger.db").exists() else None
        with Ledger.open(tmp_path) as ledger:
            stored = [entry.seq for entry in ledger.entries()]
        assert stored == list(range(1, len(stored) + 1))
        assert set(acknowledged) <= set(stored)
        assert verify_folder(tmp_path).ok
        if report is not None and stored:
            assert report.ok


def test_a_second_writer_is_told_who_has_the_folder_and_readers_go_on(tmp_path: Path) -> None:
    with start(HOLDING, tmp_path) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        pid = process.stdout.readline().strip()
        with pytest.raises(StorageTrouble) as caught:
            Ledger.open(tmp_path)
        assert caught.value.cause is StorageCause.HELD
        assert str(tmp_path) in str(caught.value)
        assert f"process {pid} has the writer lock" in caught.value.found
        with Ledger.read(tmp_path) as reading:
            assert [entry.kind for entry in reading.entries()] == ["held"]
            assert verify_folder(tmp_path).ok
            process.stdin.write("\n")
            process.stdin.flush()
            assert process.wait() == 0
            assert [entry.kind for entry in reading.entries()] == ["held", "last"]
    with Ledger.open(tmp_path) as ledger:
        assert ledger.append([{"kind": "mine"}])[0].seq == 3
