"""The technician: turns what is due, reads what the beam really hits, stands by a reading only when it comes again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from axledger.job.layout import BoxSolid, Layout
from axledger.job.library import load_layout
from axledger.job.opening import enrol, fold_job, open_job
from axledger.ledger import Ledger
from axledger_drivers.registry import decoder_for
from axledger_simulators.clock import VirtualClock
from axledger_simulators.kit import Kit
from axledger_simulators.peers.peer import OnReceive
from axledger_simulators.slips import SlipKind, Slipping
from axledger_simulators.technician import Technician
from axledger_simulators.vehicle import SimulatedVehicle


class _Heard:
    """A peer that keeps what the device sent."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.on_receive: OnReceive | None = None
        self.sent: list[bytes] = []

    def send(self, data: bytes) -> None:
        self.sent.append(data)

    def listened(self, timeout_s: float) -> bool:
        return timeout_s >= 0

    def unplug(self) -> None: ...

    def plug(self) -> None: ...

    def close(self) -> None: ...


@pytest.fixture
def layout() -> Layout:
    return load_layout("semitrailer-1axle")


@pytest.fixture
def kit() -> Kit:
    from axledger_simulators.inclinometer import Inclinometer
    from axledger_simulators.meter import DistanceMeter

    return Kit(
        meter=DistanceMeter(3, form="metre-line-fine"), inclinometer=Inclinometer(3),
        meter_peer=_Heard("a"), inclinometer_peer=_Heard("b"),
    )  # fmt: skip


@pytest.fixture
def fold(tmp_path: Path, layout: Layout, kit: Kit) -> Any:
    clock = VirtualClock()
    with Ledger.open(tmp_path) as ledger:
        roles = {
            role: enrol(ledger, instrument, person="p", stamp=clock.now())
            for role, instrument in kit.instruments().items()
        }
        job = open_job(ledger, layout, None, roles, stamp=clock.now(), person="p")
        return fold_job(ledger, job, decoder_for)


def _technician(layout: Layout, kit: Kit, spent: list[float], slipping: Slipping | None = None) -> Technician:
    return Technician(vehicle=SimulatedVehicle.build(layout, 3), kit=kit, pause=spent.append, slipping=slipping)


def test_an_inclination_goes_to_the_inclinometer_and_takes_a_persons_time(fold: Any, layout: Layout, kit: Kit) -> None:
    spent: list[float] = []
    technician = _technician(layout, kit, spent)
    technician.take(fold)
    assert kit.inclinometer_peer.sent[0].endswith("°\r\n".encode())  # type: ignore[attr-defined]
    assert kit.meter_peer.sent == []  # type: ignore[attr-defined]
    assert sum(spent) >= 10.0
    technician.take(fold)
    assert spent[-1] < 10.0  # a repeat in the same stance is quicker


def test_a_due_turn_is_made_once(fold: Any, layout: Layout, kit: Kit) -> None:
    technician = _technician(layout, kit, [])
    with_turn = next(shot for shot in fold.shots() if shot.turn)
    for shot in fold.shots():
        if shot.id == with_turn.id:
            break
        fold.board = fold.board.with_closed(shot.id, "skipped")
    assert fold.current().id == with_turn.id
    technician.take(fold)
    technician.take(fold)
    assert technician.vehicle.states[with_turn.turn[0]] == 1


def test_a_slip_past_the_target_reads_metres_more(fold: Any, layout: Layout, kit: Kit) -> None:
    technician = _technician(layout, kit, [], Slipping(1, 1.0, (SlipKind.PAST_TARGET,)))
    distance = next(shot for shot in fold.shots() if shot.kind == "distance")
    fold.board = fold.board.reopened(distance.id)
    for shot in fold.shots():
        if shot.kind == "tilt":
            fold.board = fold.board.with_closed(shot.id, "skipped")
    technician.take(fold)
    sent = float(kit.meter_peer.sent[0].decode().removesuffix("m\r\n"))  # type: ignore[attr-defined]
    at_target = float(abs(technician.vehicle.place(distance.end) - technician.vehicle.place(distance.start)).max())
    assert abs(sent - at_target) > 0.05


def test_nothing_is_done_when_no_shot_is_open(fold: Any, layout: Layout, kit: Kit) -> None:
    technician = _technician(layout, kit, [])
    for shot in fold.shots():
        fold.board = fold.board.with_closed(shot.id, "skipped")
    technician.take(fold)
    assert technician.shots == 0
    assert technician.settle_held(fold) == ()


def test_a_tyre_in_the_way_is_seen(fold: Any, layout: Layout, kit: Kit) -> None:
    distance = next(shot for shot in fold.shots() if shot.kind == "distance")
    assert _technician(layout, kit, []).sees(distance)
    there = SimulatedVehicle.build(layout, 3).place_in_axes(distance.end)
    near = tuple((float(at) - 0.2, float(at) + 0.2) for at in there)
    post = BoxSolid(kind="box", name="a post", x_m=near[0], y_m=near[1], z_m=near[2])
    blocked = layout.model_copy(update={"unit": tuple(u.model_copy(update={"solid": (post,)}) for u in layout.unit)})
    assert not _technician(blocked, kit, []).sees(distance)
    assert all(_technician(blocked, kit, []).sees(shot) for shot in fold.shots() if shot.kind == "tilt")
