"""Time start-up; run as a script, ``python tests/benchmarks/bench_start.py``.

The yardstick is an interpreter that does nothing (``python -c pass``) of the same environment. The console script
stands beside that interpreter. They take turns within one run. Asked for: at most three times the yardstick.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

TURNS, ASKED_RATIO = 60, 3.0


def seconds(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def main() -> int:
    script = Path(sys.executable).with_name("axledger.exe" if sys.platform == "win32" else "axledger")
    commands = {
        "python -c pass": [sys.executable, "-c", "pass"],
        "axledger --help": [str(script), "--help"],
        "axledger --version": [str(script), "--version"],
    }
    taken: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(TURNS):
        for name, command in commands.items():
            taken[name].append(seconds(command))
    medians = {name: statistics.median(times) for name, times in taken.items()}
    yardstick = medians["python -c pass"]
    for name, median in medians.items():
        print(f"{name:20} median {median * 1e3:6.1f} ms, ratio {median / yardstick:.2f}")
    worst = max(medians.values()) / yardstick
    print(f"asked for: {ASKED_RATIO}; {'reached' if worst <= ASKED_RATIO else 'missed'}")
    return 0 if worst <= ASKED_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
