"""Whole simulated jobs over real ports."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from axledger.assurance.replay import replay
from axledger.contract.errors import DeviceTrouble
from axledger.contract.transport import SystemClock
from axledger.job.fold import Happening, JobFold
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.opening import enrol, fold_job, open_job
from axledger.job.plan import Chosen
from axledger.job.run import JobRun
from axledger.job.tally import PARTS
from axledger.job.wiring import sources_of, supervisor_maker
from axledger.ledger import Ledger, verify_folder
from axledger_drivers.registry import decoder_for
from axledger_simulators import demo as demo_module
from axledger_simulators.clock import VirtualClock
from axledger_simulators.demo import Demo, DemoOutcome, run_demo
from axledger_simulators.kit import Carrier, Kit, default_carrier
from axledger_simulators.technician import Technician
from axledger_simulators.vehicle import SimulatedVehicle

pytestmark = pytest.mark.usefixtures("threads_end")
CARRIERS: tuple[Carrier, ...] = tuple(dict.fromkeys((default_carrier(), "socket")))


def run(folder: Path, layout: str = "semitrailer-1axle", *, seed: int = 3, **asked: object) -> DemoOutcome:
    sheet = load_limit_sheet("example-fleet")
    demo = Demo(layout=load_layout(layout), limits=sheet, seed=seed, folder=folder, **asked)  # type: ignore[arg-type]
    return run_demo(demo, lambda _fold, _told: None)


@pytest.mark.parametrize("carrier", CARRIERS)
def test_a_whole_job_ends_with_verdicts_near_the_truth(tmp_path: Path, carrier: Carrier) -> None:
    outcome = run(tmp_path, "semitrailer-2axle", carrier=carrier)
    assert outcome.readings == outcome.counts["received"] == sum(outcome.counts[part] for part in PARTS)
    assert outcome.shots == 22
    assert outcome.counts["accepted"] >= 44
    assert {result["key"] for result in outcome.results} >= {"trailer.axle1.squareness", "trailer.axle2.parallelism"}
    for result in outcome.results:
        assert result["value"] is not None
        # u95 is two standard uncertainties: five of them is what no honest result misses
        assert abs(result["value"] - result["truth"]) < 2.5 * result["u95"]
    assert {result["verdict"] for result in outcome.results} <= {
        "conforms",
        "does not conform",
        "undecided",
        "no limit",
    }
    report = verify_folder(tmp_path)
    assert report.ok
    with Ledger.read(tmp_path) as ledger:
        assert (ledger.head().size, ledger.head().root) == (outcome.entries, outcome.head)
        found = replay(ledger, decoder_for)
        assert found.differences == []
        assert found.how == "bit for bit"


def test_the_same_seed_is_the_same_job_whatever_carries_it(tmp_path: Path) -> None:
    one, other = (run(tmp_path / carrier, carrier=carrier) for carrier in ("socket", default_carrier()))
    assert one.results == other.results
    assert one.counts == other.counts
    assert run(tmp_path / "third", seed=4).results != one.results


def test_slips_are_held_and_do_not_reach_a_result(tmp_path: Path) -> None:
    """A beam that goes past its target hits a wall 6 to 9 m away: on most shots that is far from the prediction."""
    outcome = run(tmp_path, "semitrailer-2axle", seed=6, slip_rate=0.2)
    assert outcome.counts["held"] > 0
    assert all(abs(r["value"] - r["truth"]) < 2.5 * r["u95"] for r in outcome.results if r["value"] is not None)


def test_a_second_demo_in_the_same_ledger_is_a_job_of_its_own(tmp_path: Path) -> None:
    first, second = run(tmp_path), run(tmp_path)
    assert (first.job, second.job) == ("demo-3-1", "demo-3-2")
    # the second starts from what the first taught of the targets: the same vehicle, other weights
    told = [[(one["key"], one["truth"]) for one in outcome.results] for outcome in (first, second)]
    assert told[0] == told[1]
    for one, other in zip(first.results, second.results, strict=True):
        assert abs(one["value"] - other["value"]) < one["u95"]
    with Ledger.read(tmp_path) as ledger:
        assert replay(ledger, decoder_for).jobs == 2


def test_every_change_is_shown_and_the_closed_job_is_handed_over(tmp_path: Path) -> None:
    kinds: list[str] = []
    closed: list[bool] = []

    def watch(_fold: JobFold, told: list[Happening]) -> None:
        kinds.extend(one.kind for one in told)

    def finish(ledger: Ledger, job: JobRun) -> None:
        closed.append(fold_job(ledger, job.fold.job, decoder_for).closed)

    demo = Demo(layout=load_layout("semitrailer-1axle"), limits=None, seed=3, folder=tmp_path, slip_rate=0.0)
    outcome = run_demo(demo, watch, finish)
    assert closed == [True]
    assert kinds.count("accepted") + kinds.count("held") == outcome.readings
    assert kinds.count("link") == 4
    assert kinds[-1] == "closed"
    assert {result["verdict"] for result in outcome.results} == {"no limit"}


def test_devices_that_do_not_come_up_are_told_and_everything_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def plugged_nowhere(seed: int, carrier: Carrier, folder: Path) -> Kit:
        kit = built(seed, "socket", folder)
        kit.meter_peer.unplug()
        return kit

    built = Kit.build
    monkeypatch.setattr(Kit, "build", plugged_nowhere)
    monkeypatch.setattr(demo_module, "_ANSWER_S", 1.0)
    with pytest.raises(DeviceTrouble, match="did not come up"):
        run(tmp_path)
    with Ledger.open(tmp_path) as ledger:
        assert [entry.kind for entry in ledger.entries()][-1] == "checkpoint"


# -- a plug pulled in the middle


def until(job: JobRun, reached: Callable[[], bool]) -> None:
    end = time.monotonic() + 15.0
    while not reached():
        job.pump(0.1)
        assert time.monotonic() < end


@pytest.mark.parametrize("carrier", CARRIERS)
def test_a_plug_pulled_in_the_middle_costs_nothing(tmp_path: Path, carrier: Carrier) -> None:
    clock, layout = VirtualClock(), load_layout("semitrailer-1axle")
    vehicle = SimulatedVehicle.build(layout, 3)
    (tmp_path / "ports").mkdir()
    kit = Kit.build(3, carrier, tmp_path / "ports")
    with Ledger.open(tmp_path / "ledger") as ledger:
        roles = {role: enrol(ledger, one, person="Ada", stamp=clock.now()) for role, one in kit.instruments().items()}
        name = open_job(ledger, layout, None, roles, stamp=clock.now(), person="Ada")
        job = JobRun(
            ledger, name, clock=clock, make_decoder=decoder_for, make_supervisor=supervisor_maker(clock), person="Ada"
        )
        technician = Technician(vehicle=vehicle, kit=kit, pause=lambda seconds: print(clock.advance(seconds)))

        def state(role: str) -> str:
            return next((link.state for link in job.fold.links.values() if link.role == role), "")

        def up() -> bool:
            return state("meter") == state("inclinometer") == "opened"

        try:
            job.start(sources_of(job.fold))
            until(job, up)
            assert kit.meter_peer.listened(5.0)
            assert kit.inclinometer_peer.listened(5.0)
            clock.advance(5.0)
            while job.fold.current() is not None:
                before = len(job.fold.heard)
                if before == 11:
                    kit.meter_peer.unplug()
                    until(job, lambda: state("meter") == "lost")
                    kit.meter_peer.plug()
                    until(job, up)
                    assert kit.meter_peer.listened(5.0)
                    clock.advance(5.0)
                technician.take(job.fold)
                until(job, lambda before=before: len(job.fold.heard) > before)  # type: ignore[misc]
                for number in technician.settle_held(job.fold):
                    job.act("accept", reading=number)
        finally:
            job.stop()
            kit.close()
        events = [entry.body["event"] for entry in ledger.entries(kinds={"link"}) if entry.body.get("role") == "meter"]
        assert events == ["opened", "lost", "recovered"]
        assert job.fold.counts()["accepted"] >= 16
        assert job.fold.counts()["backlog"] == 0
        assert replay(ledger, decoder_for).identical


def test_real_pace_uses_the_clocks_of_this_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only how long a technician takes is shortened; links, stamps and backlog are as with any device."""
    monkeypatch.setattr(demo_module, "_pause", lambda _clock: lambda _seconds: None)
    before = SystemClock().now().utc_ns
    outcome = run(tmp_path, pace="real", slip_rate=0.0)
    assert outcome.counts["accepted"] >= 16
    assert outcome.counts["backlog"] == 0
    with Ledger.read(tmp_path) as ledger:
        assert all(int(str(entry.body["utc"])) >= before for entry in ledger.entries(kinds={"arrival"}))


@pytest.mark.parametrize("carrier", CARRIERS)
def test_a_job_with_camber_and_sweep_types_the_plates_and_states_the_wheels(tmp_path: Path, carrier: Carrier) -> None:
    chosen = Chosen(parts=frozenset({"camber", "sweep"}))
    outcome = run(tmp_path, "tractor-4x2", carrier=carrier, chosen=chosen, slip_rate=0.0)
    wheels = [r for r in outcome.results if r["key"].split(".")[2] in ("camber", "caster", "kpi", "turn", "pitch")]
    assert len(wheels) == 17
    for result in wheels:
        assert result["value"] is not None
        assert abs(result["value"] - result["truth"]) < 2.5 * result["u95"]
    assert verify_folder(tmp_path).ok
    with Ledger.read(tmp_path) as ledger:
        assert replay(ledger, decoder_for).differences == []
