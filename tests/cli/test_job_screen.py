from __future__ import annotations

import io
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from axledger.cli.job_screen import NoView, view_for, writes_unicode
from axledger.contract.profile import parse_profile
from axledger.ledger import Ledger
from axledger_drivers.registry import profile_text, transport_class
from axledger_drivers.transports.gatt import GattTransport
from axledger_simulators.inclinometer import Inclinometer
from axledger_simulators.kit import Kit, meter_record
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.offered import Following, follow
from axledger_simulators.peers.gatt_peer import GattPeer, GattWorld, make_backends
from axledger_simulators.peers.tcp_port import TcpPort

Run = Callable[..., tuple[int, str, str]]
TYPED = ("--profile", "typed", "--repeatability", "1 mm", "--tilt-repeatability", "0.02 deg")
NEW = ("job", "new", "--vehicle", "semitrailer-1axle", "--limits", "example-trailer", "--name", "first")
# The invented example's pin and targets: 8 m along, 1.332 m to each side; hypot(8.0, 1.332) = 8.1101 m, by hand.
LEFT, RIGHT = "8.110 m", "8110 mm"


@pytest.fixture
def typed_job(done: Callable[..., str]) -> None:
    """Open a job whose meter and inclinometer are both typed, each at an address of its own."""
    done("enrol", "tape", *TYPED, "--address", "typed:meter")
    done("enrol", "level", *TYPED, "--address", "typed:inclinometer")
    done(*NEW, "--meter", "tape", "--inclinometer", "level", "--repeats", "1")


def act_names(home: Path) -> list[str]:
    with Ledger.read(home) as ledger:
        return [str(entry.body["act"]) for entry in ledger.entries(kinds={"act"})]


def outcomes(told: dict[str, Any]) -> list[tuple[str, str | None]]:
    return [(reading["state"], reading["shot"]) for reading in told["readings"]]


@pytest.mark.usefixtures("typed_job")
def test_typed_readings_and_acts_count_in_the_order_of_their_lines(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    typed_in(
        "tick all", "0.40 deg", "undo", "0.50 deg", "-0.50°", "4.318 deg", "undo", "0.3 deg", "-0.3 deg",
        "4.318 m", "undo", LEFT, "blocked", "quit", "note never read",
    )  # fmt: skip
    out = done("job", "run")
    told = done_json("job", "show")
    assert outcomes(told) == [
        ("set aside", "GT:along"),
        ("accepted", "GT:along"),
        ("accepted", "GT:along-turned"),
        ("set aside", "GT:across"),
        ("accepted", "GT:across"),
        ("accepted", "GT:across-turned"),
        ("set aside", "K>T1Lh"),  # held first: 4.318 m where 8.110 m is expected
        ("accepted", "K>T1Lh"),
    ]
    assert {reading["instrument"] for reading in told["readings"][:6]} == {"level"}
    assert {reading["instrument"] for reading in told["readings"][6:]} == {"tape"}
    assert "K>T1Rh" not in told["open"]
    assert act_names(home) == ["tick", "undo", "undo", "undo", "blocked"]
    assert "act: undone: reading 1" in out
    assert "held: reading 7, 4318 mm for K>T1Lh" in out
    assert "caution: " in out
    assert "never read" not in out


@pytest.mark.usefixtures("typed_job")
def test_a_whole_job_can_be_typed(
    done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    typed_in("0.5 deg", "-0.5 deg", "0.3 deg", "-0.3 deg", LEFT, RIGHT, "turned", LEFT, RIGHT)
    out = done("job", "run", "--prepared", "--until-done", "--ascii")
    assert out.isascii()
    assert "next: nothing, every shot is taken or skipped" in out
    told = done_json("job", "show")
    assert told["open"] == []
    assert {state for state, _ in outcomes(told)} == {"accepted"}
    (result,) = told["results"]
    assert abs(result["value"]) < 0.01  # left and right are equal, so the axle stands square
    assert result["verdict"] == "conforms"
    assert done_json("replay")["identical"] is True


@pytest.mark.usefixtures("typed_job")
def test_a_line_that_cannot_be_used_is_told_and_the_rest_counts(
    done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    typed_in("polish", "4.318", "4,318 m", "go", "turned", "help", "0.5 deg")
    out = done("job", "run")
    assert "no command is called 'polish'" in out
    assert out.count("refused: not understood") == 2
    assert "go needs one shot" in out
    assert "no turn is due at GT:along" in out
    assert "u: undo" in out
    assert outcomes(done_json("job", "show")) == [("accepted", "GT:along")]


@pytest.mark.usefixtures("typed_job")
def test_with_json_standard_output_holds_one_object_and_messages_go_to_standard_error(
    run: Run, typed_in: Callable[..., None]
) -> None:
    typed_in("polish", "0.5 deg")
    code, out, err = run("job", "run", "--json")
    assert code == 0
    assert out.count("\n") == 1
    assert '"state": "accepted"' in out
    assert "no command is called 'polish'" in err


@pytest.mark.usefixtures("typed_job")
def test_a_job_goes_on_where_it_was_left(
    done: Callable[..., str], done_json: Callable[..., Any], typed_in: Callable[..., None]
) -> None:
    typed_in("0.5 deg", "-0.5 deg", "quit")
    done("job", "run")
    assert done_json("job", "show")["current"] == "GT:across"
    typed_in("0.3 deg")
    assert "next: 3/8 GT:across" in done("job", "run")
    assert done_json("job", "show")["current"] == "GT:across-turned"


class _Quiet:
    """Standard input that says nothing and does not end until ``go``: a person who watches."""

    closed = False

    def __init__(self) -> None:
        self.go = threading.Event()

    def isatty(self) -> bool:
        return False

    def __iter__(self) -> Iterator[str]:
        self.go.wait(60.0)
        return iter(())


@pytest.fixture
def quiet_input(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Keep standard input open without a line until the test ends."""
    stream = _Quiet()
    monkeypatch.setattr(sys, "stdin", stream)
    yield
    stream.go.set()


@pytest.mark.slow
@pytest.mark.usefixtures("quiet_input")
def test_a_whole_job_with_a_meter_over_bluetooth_le(
    home: Path, done: Callable[..., str], done_json: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    channel = parse_profile(profile_text("gatt-metre"), path="gatt-metre").gatt
    assert channel is not None
    world = GattWorld()
    peer = GattPeer(world, "C0:00:00:00:00:07", channel, name="example 7", mtu=10)  # every line comes in two pieces
    tilt = TcpPort()
    kit = Kit(
        meter=DistanceMeter(6, form="gatt-metre"), inclinometer=Inclinometer(6), meter_peer=peer, inclinometer_peer=tilt
    )
    scanner, client = make_backends(world)
    radio = partial(GattTransport, scanner=scanner, client=client, search_s=0.5)
    monkeypatch.setattr(
        "axledger.job.wiring.transport_class", lambda name: radio if name == "gatt" else transport_class(name)
    )
    done("enrol", "meter", "--profile", "gatt-metre", "--address", peer.address, "--repeatability", "0.7 mm")
    done("enrol", "tilt", "--profile", "tilt-line", "--address", tilt.address, "--tilt-repeatability", "0.02 deg")
    done(*NEW)
    ends = threading.Event()
    said: list[str] = []
    following = Following(folder=home, job="first", kit=kit, seed=6, between_s=0.0, say=said.append)
    technician = threading.Thread(target=follow, args=(following, lambda: not ends.is_set()), daemon=True)
    technician.start()
    try:
        out = done("job", "run", "--prepared", "--until-done")
    finally:
        ends.set()
        technician.join(10.0)
        kit.close()
    assert "meter: link opened" in out
    told = done_json("job", "show")
    assert told["open"] == []
    assert told["results"][0]["verdict"] != "not determined"
    with Ledger.read(home) as ledger:
        channels = [entry.body.get("channel", "") for entry in ledger.entries(kinds={"arrival"})]
    assert channels.count(channel.notify) == 2 * sum(r["instrument"] == "meter" for r in told["readings"])
    assert done_json("replay")["identical"] is True


def test_the_record_of_the_kit_is_what_enrolment_makes(done_json: Callable[..., Any]) -> None:
    told = done_json(
        "enrol", "sim", "--profile", "metre-line", "--address", "COM3", "--repeatability", "0.7 mm", "--resolution",
        "0.1 mm", "--serial", "simulated", "--note", "simulated",
    )["instrument"]  # fmt: skip
    assert told == meter_record("sim", "COM3").model_dump(mode="json")


def test_a_view_that_shows_nothing_keeps_standard_output_clean(capsys: pytest.CaptureFixture[str]) -> None:
    with NoView() as view:
        view.watch(None, [])
        view.say("")
        view.say("something is wrong")
    assert capsys.readouterr() == ("", "something is wrong\n")


def test_plain_characters_are_used_where_the_stream_carries_no_others() -> None:
    assert writes_unicode(io.TextIOWrapper(io.BytesIO(), encoding="utf-8"))
    assert not writes_unicode(io.TextIOWrapper(io.BytesIO(), encoding="latin-1"))
    with view_for(None, colour=False, unicode=True) as view:
        view.say("nobody reads this")


if os.name == "posix":

    @pytest.mark.usefixtures("worked")
    def test_keys_of_a_terminal_work_a_job(
        home: Path, done: Callable[..., str], run: Run, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        done("enrol", "meter-a", "--profile", "metre-line", "--address", str(home / "gone"), "--repeatability", "1 mm")
        done("enrol", "tilt-b", "--profile", "tilt-line", "--address", str(home / "gone-too"),
             "--tilt-repeatability", "0.02 deg")  # fmt: skip
        done(*NEW, "--meter", "meter-a", "--inclinometer", "tilt-b")
        ours, theirs = os.openpty()
        done_typing = threading.Event()

        def person() -> None:
            for key in (b"p", b"s", b"c", b"x", b"q"):
                time.sleep(0.5)  # longer than the gap in which a press counts as a double one
                os.write(ours, key)
            done_typing.set()

        typist = threading.Thread(target=person, daemon=True)
        with open(theirs, encoding="utf-8", closefd=False) as stream:
            monkeypatch.setattr(sys, "stdin", stream)
            typist.start()
            code, out, _ = run("job", "run", "first")
        typist.join(10.0)
        os.close(ours)
        os.close(theirs)
        assert done_typing.is_set()
        assert code == 0
        assert "close for good, 7 shots open? c again within 5 s: yes" in out
        assert act_names(home)[-2:] == ["tick", "skip"]
        assert "; open; " in done("job", "show", "first")
