"""Replay finds what came out otherwise, and only that."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from axledger.assurance.replay import Difference, replay
from axledger.contract.decoder import Decoder
from axledger.contract.frame import Frame, Measured
from axledger.contract.profile import Profile
from axledger.job.library import load_layout, load_limit_sheet
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.demo import Demo, run_demo


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with one whole simulated job, closed."""
    path = tmp_path_factory.mktemp("replay") / "ledger"
    layout, sheet = load_layout("semitrailer-1axle"), load_limit_sheet("example-fleet")
    run_demo(Demo(layout=layout, limits=sheet, seed=4, folder=path, slip_rate=0.3), lambda _fold, _told: None)
    return path


@pytest.fixture
def ledger(folder: Path) -> Iterator[Ledger]:
    with Ledger.read(folder) as opened:
        yield opened


def altered(ledger: Ledger, folder: Path, change: Callable[[dict[str, Any]], dict[str, Any] | None]) -> Ledger:
    """A second ledger, sound in itself, with the entries of the first as ``change`` gives them (``None``: left out)."""
    copy = Ledger.open(folder)
    copy.append([body for entry in ledger.entries() if (body := change(dict(entry.body))) is not None])
    return copy


def test_an_untouched_job_replays_bit_for_bit(ledger: Ledger) -> None:
    found = replay(ledger, decoder_for)
    assert found.identical
    assert found.differences == []
    assert (found.jobs, found.compared, found.how) == (1, 2, "bit for bit")
    assert found.readings >= 16
    assert found.frames >= found.readings


def test_a_ledger_copied_entry_by_entry_replays_too(ledger: Ledger, tmp_path: Path) -> None:
    with altered(ledger, tmp_path, lambda body: body) as copy:
        assert replay(copy, decoder_for).identical


def test_only_the_jobs_asked_for(ledger: Ledger) -> None:
    assert replay(ledger, decoder_for, jobs=["nobody"]).jobs == 0
    assert replay(ledger, decoder_for, jobs=["demo-4-1"]).jobs == 1


def last_length(ledger: Ledger) -> str:
    """The bytes, hex, of the last length that arrived."""
    hexes = [str(entry.body["hex"]) for entry in ledger.entries(kinds={"arrival"})]
    return next(text for text in reversed(hexes) if bytes.fromhex(text).strip().endswith(b"m"))


def test_one_altered_arrival_is_found(ledger: Ledger, tmp_path: Path) -> None:
    """One digit, a tenth of a millimetre: placed as before, but understood otherwise and solved otherwise."""
    wanted = last_length(ledger)
    data = bytearray.fromhex(wanted)
    at = data.index(b"m") - 1
    data[at] = ord("5") if data[at] != ord("5") else ord("6")

    def change(body: dict[str, Any]) -> dict[str, Any]:
        return {**body, "hex": data.hex()} if body.get("hex") == wanted else body

    with altered(ledger, tmp_path, change) as copy:
        found = replay(copy, decoder_for)
    assert not found.identical
    assert "frames" in {difference.what for difference in found.differences}
    assert "trailer.axle1.squareness, round 1" in {difference.what for difference in found.differences}
    assert all(difference.recorded != difference.replayed for difference in found.differences)


def test_one_arrival_that_lands_elsewhere_is_found(ledger: Ledger, tmp_path: Path) -> None:
    wanted = last_length(ledger)
    far = b"9.9999m\r\n".hex()

    def change(body: dict[str, Any]) -> dict[str, Any]:
        return {**body, "hex": far} if body.get("hex") == wanted else body

    with altered(ledger, tmp_path, change) as copy:
        whats = {difference.what for difference in replay(copy, decoder_for).differences}
    assert {"frames", "board"} <= whats


def test_a_missing_entry_is_found(ledger: Ledger, tmp_path: Path) -> None:
    wanted = last_length(ledger)
    with altered(ledger, tmp_path, lambda body: None if body.get("hex") == wanted else body) as copy:
        assert not replay(copy, decoder_for).identical


def test_a_changed_statement_is_found(ledger: Ledger, tmp_path: Path) -> None:
    def change(body: dict[str, Any]) -> dict[str, Any]:
        if body["kind"] != "statement":
            return body
        (result,) = body["results"]
        return {
            **body,
            "results": [{**result, "verdict": "conforms" if result["verdict"] != "conforms" else "undecided"}],
        }

    with altered(ledger, tmp_path, change) as copy:
        (difference,) = replay(copy, decoder_for).differences
    assert difference.what == "trailer.axle1.squareness, round 1"
    assert "conforms" in difference.recorded + difference.replayed


@pytest.mark.parametrize(("off_deg", "how"), [(1e-9, "within 1e-9"), (1e-6, "bit for bit")])
def test_how_close_results_came_is_said(ledger: Ledger, tmp_path: Path, off_deg: float, how: str) -> None:
    """1e-9 degree is 1.7e-11 rad and passes as rounding; 1e-6 degree is 1.7e-8 rad and does not."""

    def change(body: dict[str, Any]) -> dict[str, Any]:
        if body["kind"] != "statement":
            return body
        (result,) = body["results"]
        return {**body, "results": [{**result, "value": result["value"] + off_deg}]}

    with altered(ledger, tmp_path, change) as copy:
        found = replay(copy, decoder_for)
    assert found.how == how
    assert found.identical == (how == "within 1e-9")


def test_a_result_that_was_not_stated_or_is_no_more_is_found(ledger: Ledger, tmp_path: Path) -> None:
    def change(body: dict[str, Any]) -> dict[str, Any]:
        return {**body, "results": []} if body["kind"] == "statement" else body

    with altered(ledger, tmp_path, change) as copy:
        (difference,) = replay(copy, decoder_for).differences
    assert difference.recorded == "nothing"


def test_an_act_that_cannot_have_been_done_is_found(ledger: Ledger, tmp_path: Path) -> None:
    def change(body: dict[str, Any]) -> dict[str, Any]:
        return {**body, "items": ["windows"]} if body.get("act") == "tick" else body

    with altered(ledger, tmp_path, change) as copy:
        found = replay(copy, decoder_for)
    assert any(isinstance(one, Difference) and one.what == "act" for one in found.differences)


@dataclass(slots=True)
class OffByADigit:
    """A decoder that reads one more millimetre than the real one did."""

    real: Decoder

    def feed(self, data: bytes, at_ns: int) -> tuple[Frame, ...]:
        return tuple(map(self.spoiled, self.real.feed(data, at_ns)))

    def sent(self, data: bytes, at_ns: int) -> None:
        self.real.sent(data, at_ns)

    def quiet(self, now_ns: int) -> tuple[Frame, ...]:
        return self.real.quiet(now_ns)

    def finish(self) -> tuple[Frame, ...]:
        return self.real.finish()

    @staticmethod
    def spoiled(frame: Frame) -> Frame:
        if not isinstance(frame.outcome, Measured):
            return frame
        values = tuple(
            type(value)(
                quantity=value.quantity, si=value.si + 0.001, text=value.text, unit=value.unit,
                resolution_si=value.resolution_si,
            )
            for value in frame.outcome.values
        )  # fmt: skip
        return Frame(raw=frame.raw, at_ns=frame.at_ns, outcome=Measured(values=values))


def test_a_decoder_that_reads_otherwise_today_is_found(ledger: Ledger) -> None:
    def today(profile: Profile) -> Decoder:
        return OffByADigit(decoder_for(profile))

    found = replay(ledger, today)
    assert "frames" in {difference.what for difference in found.differences}
    assert {difference.job for difference in found.differences} == {"demo-4-1"}
