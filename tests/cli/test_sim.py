from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from axledger.contract.errors import StorageTrouble
from axledger.ledger import Ledger
from axledger_simulators.peers.tcp_port import TcpPort

Spawn = Callable[..., subprocess.Popen[str]]
NEW = ("job", "new", "--vehicle", "semitrailer-1axle", "--limits", "example-trailer", "--name", "first")
_LIMIT_S = 60.0


def arrivals(home: Path) -> int:
    with suppress(StorageTrouble), Ledger.read(home) as ledger:
        return sum(1 for _ in ledger.entries(kinds={"arrival"}))
    return 0


def instruments(home: Path) -> int:
    with suppress(StorageTrouble), Ledger.read(home) as ledger:
        return sum(1 for _ in ledger.entries(kinds={"instrument"}))
    return 0


def wait_until(condition: Callable[[], bool]) -> None:
    until = time.monotonic() + _LIMIT_S
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.05)


def two_free_ports() -> int:
    """Return a free port whose successor is free too."""
    while True:
        with socket.socket() as first, socket.socket() as second:
            first.bind(("127.0.0.1", 0))
            port = int(first.getsockname()[1])
            with suppress(OSError, OverflowError):
                second.bind(("127.0.0.1", port + 1))
                return port


def carried(carrier: str, tmp_path: Path) -> tuple[str, ...]:
    return ("--ports", str(tmp_path / "ports")) if carrier == "pty" else ("--socket", str(two_free_ports()))


CARRIERS = ["pty", "socket"] if os.name == "posix" else ["socket"]


@pytest.mark.slow
@pytest.mark.parametrize("carrier", CARRIERS)
def test_a_job_in_one_process_with_devices_in_another_that_is_killed_in_the_middle(
    home: Path, tmp_path: Path, spawn: Spawn, done: Callable[..., str], done_json: Callable[..., Any], carrier: str
) -> None:
    where = carried(carrier, tmp_path)
    sim = spawn("sim", *where, "--seed", "3", "--between", "0.05", "--enrol", "--job", "first")
    wait_until(lambda: instruments(home) == 2)
    done(*NEW)
    running = spawn("job", "run", "first", "--prepared", "--until-done", "--json")
    wait_until(lambda: arrivals(home) >= 10)
    sim.kill()
    sim.wait(_LIMIT_S)
    again = spawn("sim", *where, "--seed", "3", "--between", "0.05")
    out, err = running.communicate(timeout=_LIMIT_S)
    assert (running.returncode, err) == (0, "")
    out_of_sim, _ = again.communicate(timeout=_LIMIT_S)
    assert again.returncode == 0
    assert "shots taken" in out_of_sim

    told = json.loads(out)
    assert (told["open"], told["closed"]) == ([], False)
    undisturbed = done_json("demo", "--vehicle", "semitrailer-1axle", "--limits", "example-trailer")["results"]
    assert [result["key"] for result in told["results"]] == [result["key"] for result in undisturbed]
    assert all(result["verdict"] != "not determined" for result in told["results"])
    with Ledger.read(home) as ledger:
        events = [(entry.body["event"], entry.body.get("instrument")) for entry in ledger.entries(kinds={"link"})]
    for name in ("sim-meter", "sim-inclinometer"):
        assert [event for event, instrument in events if instrument == name] == ["opened", "lost", "recovered"]

    assert done_json("verify")["ok"] is True
    assert done_json("replay")["identical"] is True
    assert done("job", "close").startswith("job first closed")
    assert done_json("replay")["identical"] is True
    assert Path(done_json("report")["report"]).is_file()


def test_devices_alone_are_offered_and_send_at_a_line(
    home: Path, run: Callable[..., tuple[int, str, str]], typed_in: Callable[..., None]
) -> None:
    typed_in("", "t", "")
    code, out, err = run("sim", "--socket", "--enrol", "--no-technician", "--json")
    assert (code, err) == (0, "")
    offered, shots = (json.loads(line) for line in out.splitlines())
    assert offered.keys() == {"meter", "inclinometer"}
    assert all(address.startswith("socket://127.0.0.1:") for address in offered.values())
    assert shots == {"shots": 3}
    assert instruments(home) == 2


def test_without_enrolment_it_says_how(run: Callable[..., tuple[int, str, str]], typed_in: Callable[..., None]) -> None:
    typed_in()
    code, out, _ = run("sim", "--no-technician")
    assert code == 0
    assert "axledger sim --enrol" in out
    assert out.endswith("0 shots taken\n")


if os.name == "posix":  # elsewhere one process cannot press Ctrl-C for another

    def test_ctrl_c_ends_it_quietly(spawn: Spawn) -> None:
        sim = spawn("sim", "--socket")
        assert sim.stdout is not None
        told = [sim.stdout.readline() for _ in range(4)]
        sim.send_signal(signal.SIGINT)
        _, err = sim.communicate(timeout=_LIMIT_S)
        assert (sim.returncode, err) == (0, "")
        assert told[3] == "waiting for `axledger job run` to open the devices\n"


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("--seed", "-1"), "seed -1"),
        (("--between", "-2"), "between -2"),
        (("--slips", "2"), "slips 2"),
        (("--socket", "65535"), "socket 65535"),
        (("--socket", "-4"), "socket -4"),
    ],
)
def test_what_cannot_be_simulated_is_refused(fails: Callable[..., str], words: tuple[str, ...], found: str) -> None:
    assert found in fails(2, "sim", *words)


def test_a_folder_that_is_none_is_refused(fails: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    assert "cannot hold the ports" in fails(2, "sim", "--ports", str(tmp_path / "file"))


def test_a_port_that_is_taken_is_told(fails: Callable[..., str]) -> None:
    other = TcpPort(port=two_free_ports() + 1)
    try:
        port = int(other.address.rsplit(":", 1)[1])
        for first in (port, port - 1):
            assert f"port {port} cannot be offered" in fails(3, "sim", "--socket", str(first))
    finally:
        other.close()
