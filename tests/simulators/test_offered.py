from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from axledger.job.fold import JobFold
from axledger.job.library import load_layout
from axledger.job.opening import enrol, open_job
from axledger.job.run import JobRun
from axledger.job.statements import results_of
from axledger.job.wiring import sources_of, supervisor_maker
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.clock import VirtualClock
from axledger_simulators.kit import Kit
from axledger_simulators.offered import Following, follow

pytestmark = pytest.mark.usefixtures("threads_end")

_LIMIT_S = 60.0


class Bench:
    """A job on real links with a clock that only the technician moves."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = VirtualClock()
        self.kit = Kit.build(5, "socket", folder)
        self.said: list[str] = []
        self.ledger = Ledger.open(folder)

    def open_job(self) -> JobRun:
        roles = {
            role: enrol(self.ledger, instrument, person="Ada", stamp=self.clock.now())
            for role, instrument in self.kit.instruments().items()
        }
        layout = load_layout("semitrailer-1axle")
        job = open_job(self.ledger, layout, None, roles, stamp=self.clock.now(), person="Ada", name="first")
        return JobRun(
            self.ledger, job, clock=self.clock, make_decoder=decoder_for, make_supervisor=supervisor_maker(self.clock),
            person="Ada",
        )  # fmt: skip

    def following(self, *, job: str | None = "first", slip_rate: float = 0.0) -> Following:
        return Following(
            folder=self.folder, job=job, kit=self.kit, seed=5, between_s=1.0, slip_rate=slip_rate,
            say=self.said.append, sleep=self.sleep,
        )  # fmt: skip

    def sleep(self, seconds: float) -> None:
        self.clock.advance(seconds)
        time.sleep(0.002)  # lets the other thread have its turn

    def close(self) -> None:
        self.kit.close()
        self.ledger.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path / "home")
    yield made
    made.close()


def followed(following: Following, run: JobRun, running: Callable[[], bool]) -> int:
    """Let the technician follow in a thread while the job runs here; return the shots taken.

    The links are waited for first: the technician's seconds pass quickly here, those of a connection do not.
    """
    shots: list[int] = []
    while sum(link.state == "opened" for link in run.fold.links.values()) < 2:
        run.pump(_LIMIT_S)
    assert following.kit.meter_peer.listened(_LIMIT_S)
    assert following.kit.inclinometer_peer.listened(_LIMIT_S)
    thread = threading.Thread(target=lambda: shots.append(follow(following, running)), daemon=True)
    thread.start()
    until = time.monotonic() + _LIMIT_S
    while thread.is_alive() and time.monotonic() < until:
        run.pump(0.01)
    thread.join(1.0)
    return shots[0]


def test_before_a_ledger_and_before_a_job_there_is_nothing_to_follow(tmp_path: Path, bench: Bench) -> None:
    nowhere = Following(folder=tmp_path / "none", job=None, kit=bench.kit, seed=5, between_s=0.0)
    assert nowhere.fold() is None
    assert bench.following(job=None).fold() is None
    bench.open_job()
    newest = bench.following(job=None).fold()
    assert isinstance(newest, JobFold)
    assert newest.job == "first"
    assert bench.following(job="second").fold() is None


def test_the_fold_grows_with_the_ledger(bench: Bench) -> None:
    run = bench.open_job()
    following = bench.following()
    first = following.fold()
    assert first is not None
    assert first.board.notes == ()
    run.act("note", words="seen by both")
    again = following.fold()
    assert again is first
    assert again.board.notes == ("seen by both",)


def test_a_technician_waits_until_told_to_end(bench: Bench) -> None:
    bench.open_job()
    looks = iter([True, True, True, False])
    assert follow(bench.following(), lambda: next(looks)) == 0
    assert bench.said == ["waiting for `axledger job run` to open the devices"]


def test_no_shot_is_taken_while_one_of_the_devices_is_not_listened_to(bench: Bench) -> None:
    run = bench.open_job()
    sources = sources_of(run.fold)
    run.start([source for source in sources if source.role == "inclinometer"])
    until = time.monotonic() + _LIMIT_S
    while not run.fold.links and time.monotonic() < until:
        run.pump(0.05)
    looks = iter([True] * 5 + [False])
    assert follow(bench.following(), lambda: next(looks)) == 0
    run.stop()


def test_a_whole_job_is_worked_by_looking_at_the_ledger(bench: Bench) -> None:
    run = bench.open_job()
    run.start(sources_of(run.fold))
    shots = followed(bench.following(), run, lambda: True)
    run.stop()
    assert run.fold.current() is None
    assert shots == len(run.fold.heard) >= 16  # eight shots, two readings each
    assert len([words for words in bench.said if words.startswith("shot ")]) == shots
    assert run.fold.counts()["backlog"] == 0
    assert all(result["value"] is not None for result in results_of(run.fold))


def test_a_second_simulator_finds_the_targets_as_the_job_says_they_hang(bench: Bench) -> None:
    """The first one is gone after the first turn; the second must begin with that target turned."""
    run = bench.open_job()
    run.start(sources_of(run.fold))
    followed(bench.following(), run, lambda: not run.fold.board.turns)
    assert run.fold.board.turns == {"T1Lh": 1}
    assert run.fold.current() is not None
    followed(bench.following(), run, lambda: True)
    run.stop()
    assert run.fold.current() is None
    assert run.fold.board.turns == {"T1Lh": 1, "T1Rh": 1}
    solution = run.fold.solution()
    assert solution is not None
    assert not solution.contradicts


def test_slips_end_up_held_or_set_aside_and_the_job_still_ends(bench: Bench) -> None:
    run = bench.open_job()
    run.start(sources_of(run.fold))
    followed(bench.following(slip_rate=0.5), run, lambda: True)
    run.stop()
    assert run.fold.current() is None
    assert run.fold.counts()["held"] > 0, run.fold.counts()


def test_a_shot_whose_held_readings_agree_waits_for_a_person(bench: Bench) -> None:
    """The tool expects the second look half a metre off from what the vehicle is: the held readings say the same."""
    run = bench.open_job()
    run.start(sources_of(run.fold))
    followed(bench.following(), run, lambda: any(shot.kind == "tilt" for shot in run.fold.open_shots()))
    shot = run.fold.current()
    assert shot is not None
    for _ in range(2):
        before = len(run.fold.heard)
        bench.kit.meter_peer.send(bench.kit.meter.shoot(4.318))
        while len(run.fold.heard) == before:
            run.pump(1.0)
        bench.clock.advance(5.0)
    held = [number for number, place in run.fold.board.places.items() if place.state == "held"]
    assert len(held) == 2
    looks = 0

    def running() -> bool:
        nonlocal looks
        looks += 1
        return looks < 40

    assert followed(bench.following(), run, running) == 0
    stuck = [words for words in bench.said if "say the same" in words]
    assert len(stuck) == 1
    assert f"held readings {held[0]} and {held[1]} of {shot.id}" in stuck[0]
    for number in held:
        run.act("aside", reading=number, why="looked again")
    assert followed(bench.following(), run, lambda: run.fold.current() is shot) > 0
    run.stop()


def test_a_closed_job_takes_no_more_shots(bench: Bench) -> None:
    run = bench.open_job()
    run.start(sources_of(run.fold))
    looks = 0

    def running() -> bool:
        nonlocal looks
        looks += 1
        if looks == 1:
            run.close_job()
        return True

    assert followed(bench.following(), run, running) == 0
    run.stop()
