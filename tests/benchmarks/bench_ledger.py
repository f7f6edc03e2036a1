"""Time a durable append and a full check; run as a script, ``python tests/benchmarks/bench_ledger.py``.

The yardstick is a bare loop of the standard library's ``sqlite3`` in the same folder with the same
durability (write-ahead log, full syncing): it turns the same arrival into JSON text and inserts the
same kind, job and body, one row per commit, with no hash, no index and no guard. Both take turns within
one run, so that a disk that slows down slows both. Asked for: the ledger at 0.8 of the yardstick's rate or better.
"""

from __future__ import annotations

import json
import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

from axledger.ledger import JsonValue, Ledger, verify_folder

APPENDS = 4000
TURN = 20
VERIFIED = 100_000
ASKED_RATIO = 0.8


def arrival(number: int) -> dict[str, JsonValue]:
    """Return the body of a typical arrival; invented example data."""
    return {
        "arrival": number,
        "direction": "in",
        "job": "example-job",
        "kind": "arrival",
        "link": "meter-left",
        "monotonic_ns": str(1_000_000_000 + 250_000_000 * number),
        "raw": "30312b30303030343331382e320d0a",
        "utc": "2026-01-02T03:04:05.678Z",
    }


def bare_connection(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE rows(seq INTEGER PRIMARY KEY, kind TEXT, job TEXT, body TEXT) STRICT")
    return connection


def bare_turn(connection: sqlite3.Connection, first: int) -> list[float]:
    taken: list[float] = []
    for number in range(first, first + TURN):
        body = arrival(number)
        start = time.perf_counter()
        text = json.dumps(body)
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO rows VALUES (NULL, ?, ?, ?)", (body["kind"], body["job"], text))
        connection.execute("COMMIT")
        taken.append(time.perf_counter() - start)
    return taken


def ledger_turn(ledger: Ledger, first: int) -> list[float]:
    taken: list[float] = []
    for number in range(first, first + TURN):
        body = arrival(number)
        start = time.perf_counter()
        ledger.append([body])
        taken.append(time.perf_counter() - start)
    return taken


def time_appends(folder: Path) -> float:
    """Print medians and rates; return the ratio of the medians, yardstick over ledger."""
    bare: list[float] = []
    ours: list[float] = []
    connection = bare_connection(folder / "bare.db")
    with Ledger.open(folder / "ledger") as ledger:
        for turn in range(APPENDS // TURN):
            bare += bare_turn(connection, turn * TURN)
            ours += ledger_turn(ledger, turn * TURN)
    connection.close()
    ratio = statistics.median(bare) / statistics.median(ours)
    print(f"bare sqlite3   median {statistics.median(bare) * 1e3:.3f} ms, mean {statistics.mean(bare) * 1e3:.3f} ms")
    print(f"Ledger.append  median {statistics.median(ours) * 1e3:.3f} ms, mean {statistics.mean(ours) * 1e3:.3f} ms")
    print(f"ratio of medians {ratio:.2f}, of means {statistics.mean(bare) / statistics.mean(ours):.2f}")
    return ratio


def time_verify(folder: Path) -> None:
    with Ledger.open(folder / "long") as ledger:
        start = time.perf_counter()
        for first in range(0, VERIFIED, 1000):
            ledger.append([arrival(number) for number in range(first, first + 1000)])
        print(f"append in bursts of 1000: {VERIFIED / (time.perf_counter() - start):,.0f} entries/s")
    start = time.perf_counter()
    report = verify_folder(folder / "long")
    print(f"verify {report.entries:,} entries: {time.perf_counter() - start:.2f} s ({report.reason})")
    start = time.perf_counter()
    with Ledger.open(folder / "long"):
        print(f"open for writing at {VERIFIED:,} entries: {(time.perf_counter() - start) * 1e3:.0f} ms")


def main() -> int:
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as name:
        ratio = time_appends(Path(name))
        time_verify(Path(name))
    print(f"asked for: {ASKED_RATIO}; {'reached' if ratio >= ASKED_RATIO else 'missed'}")
    return 0 if ratio >= ASKED_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
