from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from axledger.contract.errors import StorageTrouble
from axledger.ledger import Ledger
from axledger_drivers.registry import profile_text
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.peers.tcp_port import TcpPort

Run = Callable[..., tuple[int, str, str]]
_PATIENCE_S = 15.0


def entries(home: Path, kind: str) -> list[dict[str, Any]]:
    with suppress(StorageTrouble), Ledger.read(home) as ledger:
        return [dict(entry.body) for entry in ledger.entries(kinds={kind})]
    return []


def heard(home: Path, direction: str = "in") -> bytes:
    return b"".join(bytes.fromhex(body["hex"]) for body in entries(home, "arrival") if body["dir"] == direction)


def link_events(home: Path) -> list[str]:
    return [body["event"] for body in entries(home, "link")]


def wait_for(condition: Callable[[], bool]) -> None:
    """Look until it is so; whoever waits in vain lets the test fail by what is missing in the end."""
    until = time.monotonic() + _PATIENCE_S
    while not condition() and time.monotonic() < until:
        time.sleep(0.02)


@contextmanager
def beside(work: Callable[[], None]) -> Iterator[None]:
    """Let ``work`` run in a thread meanwhile."""
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    yield
    thread.join(_PATIENCE_S)


@pytest.fixture
def tcp() -> Iterator[TcpPort]:
    peer = TcpPort()
    yield peer
    peer.close()


@pytest.fixture
def prompt(home: Path) -> Callable[..., str]:
    """Make a profile of the shop's own, like a shipped one, whose readings count from the first moment."""

    def made(name: str, more: str = "") -> str:
        text = profile_text(name).replace(f'name = "{name}"', f'name = "prompt-{name}"')
        folder = home / "profiles"
        folder.mkdir(parents=True, exist_ok=True)
        text = f"{text}\n[timing]\nbacklog_s = 0.0\n{more}"
        (folder / f"prompt-{name}.toml").write_text(text, encoding="utf-8")
        return f"prompt-{name}"

    return made


def test_readings_are_printed_and_every_byte_is_in_the_ledger(
    home: Path, run: Run, tcp: TcpPort, prompt: Callable[..., str]
) -> None:
    def device() -> None:
        tcp.listened(_PATIENCE_S)
        for piece in (b"4.3", b"18m\r\nERR255\r\n", b"4.319m\r\n"):
            tcp.send(piece)
            time.sleep(0.05)

    with beside(device):
        code, out, err = run("listen", "--address", tcp.address, "--profile", prompt("metre-line"), "--count", "2")
    assert (code, err) == (0, "")
    assert "link opened" in out
    assert out.index("4.318 m") < out.index("no measurement: the device could not measure (code 255)")
    assert "4.319 m" in out
    assert heard(home) == b"4.318m\r\nERR255\r\n4.319m\r\n"
    assert link_events(home) == ["opened", "closed"]


def test_json_is_one_object_a_reading_and_words_go_to_standard_error(
    home: Path, run: Run, tcp: TcpPort, prompt: Callable[..., str]
) -> None:
    def device() -> None:
        tcp.listened(_PATIENCE_S)
        tcp.send(b"#0042,4.318m,-01.27d*28\r\n")

    with beside(device):
        code, out, err = run(
            "listen", "--address", tcp.address, "--profile", prompt("metre-tilt"), "--count", "1", "--json"
        )
    assert code == 0
    told = json.loads(out)
    assert told["values"]["length"] == 4.318
    assert told["values"]["inclination"] == pytest.approx(-0.022165681500327984, rel=1e-12)  # -1.27 pi / 180, by hand
    assert bytes.fromhex(told["raw"]) == b"#0042,4.318m,-01.27d*28\r"
    assert "link opened" in err
    with Ledger.read(home) as ledger:
        (arrival,) = ledger.entries(kinds={"arrival"})
    assert told["entry"] == arrival.seq


def test_a_polled_meter_that_echoes_is_asked_for_each_reading(home: Path, run: Run, tcp: TcpPort) -> None:
    meter = DistanceMeter(3, form="polled-metre", zero_m=0.0)

    def answer(command: bytes) -> None:
        tcp.send(command + meter.answer(command, 4.318))

    tcp.on_receive = answer
    code, out, _ = run("listen", "--address", tcp.address, "--profile", "polled-metre", "--measure", "--count", "3")
    assert code == 0
    assert sum(" m" in line and line[0].isdigit() for line in out.splitlines()) == 3
    assert "echo of what was sent" in out
    assert heard(home, "out") == b"DDD"
    assert heard(home).startswith(b"DD:4.31")
    assert heard(home).count(b"DD:4.31") == 3


def test_a_device_that_could_not_measure_is_asked_again(home: Path, run: Run, tcp: TcpPort) -> None:
    answers = iter([b"D:Er01!\r\n", b"D:4.318m,0093\r\n"])
    tcp.on_receive = lambda _command: tcp.send(next(answers))
    code, out, _ = run("listen", "--address", tcp.address, "--profile", "polled-metre", "--measure", "--count", "1")
    assert code == 0
    assert "no measurement: no target (code 01)" in out
    assert heard(home, "out") == b"DD"


def test_nothing_is_sent_or_recorded_as_sent_before_the_link_is_up(
    home: Path, run: Run, fails: Callable[..., str], tcp: TcpPort
) -> None:
    tcp.unplug()
    words = ("listen", "--address", tcp.address, "--measure", "--seconds", "0.5")
    code, out, err = run(*words, "--profile", "polled-metre")
    assert (code, err) == (0, "")
    assert heard(home, "out") == b""
    assert out.count("the computer answers, but nothing listens there") == 1
    assert "start the serial server, or mend the port number" in out
    assert "metre-line" in fails(2, *words, "--profile", "metre-line")


if os.name == "posix":
    import serial

    from axledger_simulators.peers.pty_port import PtyPort

    @pytest.fixture
    def pty(tmp_path: Path) -> Iterator[PtyPort]:
        peer = PtyPort(tmp_path / "port")
        yield peer
        peer.close()

    def test_a_lost_link_is_shown_and_comes_back_by_itself(
        home: Path, run: Run, done: Any, pty: PtyPort, prompt: Callable[..., str]
    ) -> None:
        done("enrol", "meter-a", "--profile", prompt("metre-line"), "--address", pty.address, "--repeatability", "1 mm")

        def device() -> None:
            wait_for(lambda: "opened" in link_events(home))
            pty.send(b"4.318m\r\n")
            wait_for(lambda: b"4.318m" in heard(home))
            pty.unplug()
            wait_for(lambda: "lost" in link_events(home))
            pty.plug()
            wait_for(lambda: "recovered" in link_events(home))
            pty.send(b"4.319m\r\n")

        with beside(device):
            code, out, err = run("listen", "meter-a", "--count", "2")
        assert (code, err) == (0, "")
        shown = [line.split()[:2] for line in out.splitlines() if line.startswith(("link", "4."))]
        assert shown == [["link", "opened"], ["4.318", "m"], ["link", "lost"], ["link", "recovered"], ["4.319", "m"]]
        assert link_events(home) == ["opened", "lost", "recovered", "closed"]
        assert heard(home) == b"4.318m\r\n4.319m\r\n"

    def test_a_port_in_use_is_told_once_and_opened_when_it_is_free(
        home: Path, run: Run, pty: PtyPort, prompt: Callable[..., str]
    ) -> None:
        holder = serial.Serial(pty.address, exclusive=True)
        said: list[str] = []

        def other() -> None:
            time.sleep(0.8)  # long enough for a second attempt
            holder.close()
            wait_for(lambda: "opened" in link_events(home))
            pty.send(b"4.318m\r\n")

        with beside(other):
            code, out, _ = run("listen", "--address", pty.address, "--profile", prompt("metre-line"), "--count", "1")
        said = [line for line in out.splitlines() if "already in use" in line]
        assert code == 0
        assert len(said) == 1
        assert "close the other program" in said[0]
        assert out.index("already in use") < out.index("link opened") < out.index("4.318 m")

    def test_bytes_at_the_wrong_speed_are_kept_and_never_a_reading(home: Path, run: Run, pty: PtyPort) -> None:
        garbage = [bytes([0xE6, 0x9E, 0x06, 0xF8, 0x80 | number, 0x0A]) for number in range(7)]

        def device() -> None:
            wait_for(lambda: "opened" in link_events(home))
            for piece in garbage:
                pty.send(piece)

        with beside(device):
            code, out, _ = run("listen", "--address", pty.address, "--profile", "metre-line", "--seconds", "2")
        assert code == 0
        assert "the speed of the port may be wrong" in out
        assert out.count("- not understood: ") == len(garbage)
        assert not any(line[0].isdigit() for line in out.splitlines())
        assert heard(home) == b"".join(garbage)


def test_an_absent_port_is_told_and_no_reading_ends_with_one(home: Path, tmp_path: Path, run: Run) -> None:
    words = ("listen", "--address", str(tmp_path / "port"), "--profile", "metre-line", "--count", "1")
    code, out, _ = run(*words, "--seconds", "0.4")
    assert code == 1
    assert f"{tmp_path / 'port'} is not there" in out
    assert "plug the device in or switch it on" in out
    assert out.count("is not there") == 1
    assert link_events(home) == ["lost", "closed"]


def test_what_was_taken_before_the_link_came_up_does_not_count(home: Path, run: Run, tcp: TcpPort) -> None:
    def device() -> None:
        tcp.listened(_PATIENCE_S)
        tcp.send(b"4.318m\r\n")

    words = ("listen", "--address", tcp.address, "--profile", "metre-line", "--count", "1", "--seconds", "1")
    with beside(device):
        code, out, _ = run(*words)
    assert code == 1
    assert "4.318 m  [backlog: " in out


def test_fewer_readings_than_asked_for_end_with_one(
    home: Path, run: Run, tcp: TcpPort, prompt: Callable[..., str]
) -> None:
    def device() -> None:
        tcp.listened(_PATIENCE_S)
        tcp.send(b"4.318m\r\n")

    words = ("listen", "--address", tcp.address, "--profile", prompt("metre-line"), "--count", "2", "--seconds", "1")
    with beside(device):
        code, out, _ = run(*words)
    assert code == 1
    assert "4.318 m\n" in out


def test_a_device_that_waits_for_it_is_acknowledged_once_its_bytes_are_in_the_ledger(
    home: Path, run: Run, tcp: TcpPort, prompt: Callable[..., str]
) -> None:
    stored: list[bytes] = []
    tcp.on_receive = lambda reply: stored.append(reply + heard(home))

    def device() -> None:
        tcp.listened(_PATIENCE_S)
        tcp.send(b"#0042,4.318m,-01.27d*28\r\n")
        wait_for(lambda: bool(stored))
        tcp.send(b"#0042,4.318m,-01.27d*28\r\n")  # sent again: no second reading, and acknowledged too

    profile = prompt("metre-tilt", '[acknowledge]\nreply = "U"\n')
    words = ("listen", "--address", tcp.address, "--profile", profile, "--count", "2", "--seconds", "3")
    with beside(device):
        code, out, _ = run(*words)
    assert code == 1
    assert "[repeat: " in out
    assert stored[0].startswith(b"U#0042,4.318m")
    assert heard(home, "out") == b"UU"


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ((), "no instrument and no --address with --profile"),
        (("--address", "COM3"), "no instrument and no --address with --profile"),
        (("meter-x",), "'meter-x'"),
        (("--address", "COM3", "--profile", "laser"), "'laser'"),
        (("--address", "ftp://box", "--profile", "metre-line"), "'ftp://box'"),
        (("--address", "COM3", "--profile", "metre-line", "--count", "0"), "count 0"),
        (("--address", "COM3", "--profile", "metre-line", "--seconds", "-1"), "seconds -1"),
    ],
)
def test_what_cannot_be_listened_to_is_refused(fails: Callable[..., str], words: tuple[str, ...], found: str) -> None:
    assert f"found: {found}" in fails(2, "listen", *words)


def test_a_typed_value_comes_from_standard_input(home: Path, run: Run, typed_in: Callable[..., None]) -> None:
    typed_in('170 1/16"', "4318", "4.318 m")
    code, out, _ = run("listen", "--address", "typed:tape", "--profile", "typed", "--count", "2")
    assert code == 0
    assert "4.318 m" in out
    assert "not understood" in out
    assert heard(home).decode() == '170 1/16"\n4318\n4.318 m\n'
