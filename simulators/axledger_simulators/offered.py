"""Simulated devices for another process, and a technician who looks at that process's job.

The technician reads the ledger, as a person looks at the screen: it is opened read-only, folded as it grows, and
tells which shot is open. Nothing else passes between the two processes but the devices' bytes.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from axledger.contract.errors import StorageTrouble
from axledger.job.fold import JobFold
from axledger.job.layout import Layout
from axledger.job.opening import entries_of, job_names
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.kit import Kit
from axledger_simulators.slips import SlipKind, Slipping
from axledger_simulators.technician import Technician
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Following", "follow"]

_ANSWER_S = 8.0
"""How long the technician waits for a shot to show before shooting again: the bytes may have gone nowhere."""


@dataclass(slots=True, kw_only=True)
class Following:
    """What is followed: the data ``folder``, the ``job`` (``None``: the newest), the pace between shots."""

    folder: Path
    job: str | None
    kit: Kit
    seed: int
    between_s: float
    slip_rate: float = 0.0
    say: Callable[[str], None] = print
    sleep: Callable[[float], None] = time.sleep
    settled: bool = False
    """Whether the job is chosen; until its devices are linked the newest job may still change."""
    _fold: JobFold | None = field(default=None, init=False)

    def fold(self) -> JobFold | None:
        """Return the job as the ledger has it now; ``None`` where there is no ledger or no job yet."""
        try:
            with Ledger.read(self.folder) as ledger:
                if self._fold is None or not self.settled:
                    names = job_names(ledger)
                    wanted = self.job or (names[-1] if names else None)
                    if wanted is None or wanted not in names:
                        return None
                    if self._fold is None or self._fold.job != wanted:
                        self._fold = JobFold(wanted, decoder_for)
                for entry in entries_of(ledger, self._fold.job, after=self._fold.last_seq):
                    self._fold.apply(entry)
        except StorageTrouble:
            return None
        return self._fold


def follow(following: Following, running: Callable[[], bool]) -> int:
    """Take shot after shot while ``running()``; return how many were taken. Ends when the plan is done.

    A shot whose held readings agree is shot no more: that the tool is right and what it expects is wrong, or the
    other way round, is for a person at the tool to say, and is waited for.
    """
    fold = _waited_for(following, running)
    if fold is None or fold.layout is None:
        return 0
    following.settled = True
    following.say(f"working on job {fold.job}")
    technician = _technician(following, fold.layout)
    # a simulator that was started anew finds the targets as the job says they hang
    for target, turns in fold.board.turns.items():
        for _ in range(turns):
            technician.vehicle.turn(target)
    told: tuple[int, ...] = ()
    while running():
        now = following.fold()
        if now is None or now.closed or now.current() is None:
            break
        if agreeing := technician.settle_held(now):
            if agreeing != told:
                following.say(_stuck_words(now, agreeing))
            told = agreeing
            following.sleep(0.2)
        elif _all_open(now):
            _one_shot(following, technician, now, running)
        else:
            following.sleep(0.2)
    return technician.shots


def _stuck_words(fold: JobFold, agreeing: tuple[int, ...]) -> str:
    shot = fold.current()
    numbers, where = " and ".join(map(str, agreeing)), shot.id if shot is not None else "a shot"
    return (
        f"held readings {numbers} of {where} say the same: "
        "press a at the screen of `axledger job run` to accept them, or look what is wrong; no more shots until then"
    )


def _waited_for(following: Following, running: Callable[[], bool]) -> JobFold | None:
    told = False
    while running():
        fold = following.fold()
        if fold is not None and _all_open(fold):
            backlog_s = max(link.profile.timing.backlog_s for link in fold.links.values())
            following.sleep(backlog_s + 0.5)  # what is sent while a link comes up counts as taken before
            return following.fold()
        if not told:
            following.say("waiting for `axledger job run` to open the devices")
            told = True
        following.sleep(0.2)
    return None


def _all_open(fold: JobFold) -> bool:
    """Tell whether every instrument of the job is listened to: bytes sent earlier would go nowhere."""
    heard = {link.instrument for link in fold.links.values() if link.state == "opened"}
    return bool(fold.instruments) and heard >= {instrument.name for instrument in fold.instruments.values()}


def _technician(following: Following, layout: Layout) -> Technician:
    slipping = (
        Slipping(following.seed, following.slip_rate, (SlipKind.PAST_TARGET,)) if following.slip_rate > 0 else None
    )
    share = following.between_s / 10.0  # the technician thinks in seconds of a person; a shot is ten of them
    return Technician(
        vehicle=SimulatedVehicle.build(layout, following.seed),
        kit=following.kit,
        pause=lambda seconds: following.sleep(seconds * share),
        slipping=slipping,
    )


def _one_shot(following: Following, technician: Technician, fold: JobFold, running: Callable[[], bool]) -> None:
    shot = fold.current()
    before = len(fold.heard)
    technician.take(fold)
    if shot is not None:
        following.say(f"shot {technician.shots}: {shot.id}")
    waited = 0.0
    while running() and waited < _ANSWER_S:
        now = following.fold()
        if now is not None and len(now.heard) > before:
            return
        following.sleep(0.02)
        waited += 0.02
