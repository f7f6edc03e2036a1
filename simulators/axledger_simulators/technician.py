"""A simulated technician: looks at the current shot, walks, turns what is to be turned, shoots.

The technician knows only what the screen shows (the fold's current shot); the vehicle answers with what the beam
really hits. Handling times are invented working figures; ``pause`` spends them (a virtual clock, or sleep).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

from axledger.job.fold import JobFold
from axledger.job.plan import Shot
from axledger_simulators.beam import trace
from axledger_simulators.kit import Kit
from axledger_simulators.slips import Slip, Slipping
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Technician"]

_SHOT_S, _REPEAT_S, _WALK_S, _TURN_S = 10.0, 3.0, 5.0, 20.0


@dataclass(slots=True, kw_only=True)
class Technician:
    """Works through a plan. ``slipping`` makes human slips at its own rate; ``pause`` takes seconds."""

    vehicle: SimulatedVehicle
    kit: Kit
    pause: Callable[[float], None]
    slipping: Slipping | None = None
    _standing: str = ""
    _last: str = ""
    _turned: set[tuple[int, str]] = field(default_factory=set[tuple[int, str]])
    shots: int = 0

    def take(self, fold: JobFold) -> None:
        """Take one reading of the current shot: its bytes leave for the tool."""
        shot = fold.current()
        if shot is None:
            return
        self._get_there(fold, shot)
        self.shots += 1
        if shot.kind == "tilt":
            tilt = self.vehicle.inclination(shot.start, shot.tilt)
            self.kit.inclinometer_peer.send(self.kit.inclinometer.shoot(tilt))
        else:
            slip = self._slip(fold, shot)
            self.kit.meter_peer.send(self.kit.meter.shoot(self._length(shot, slip)))

    def _get_there(self, fold: JobFold, shot: Shot) -> None:
        if self._standing != shot.start:
            self.pause(_WALK_S)
        key = (fold.board.round, shot.id)
        due = shot.turn if key not in self._turned and key not in fold.board.turned else ()
        for target in due:
            self.vehicle.turn(target)
            self.pause(_TURN_S)
        self._turned.add(key)
        self.pause(_REPEAT_S if self._last == shot.id else _SHOT_S)
        self._standing, self._last = shot.start, shot.id

    def _length(self, shot: Shot, slip: Slip | None) -> float:
        if slip is None:
            return trace(self.vehicle, shot.start, shot.end, folded=shot.fold).distance_m
        beam = trace(self.vehicle, shot.start, slip.end, folded=shot.fold, past=slip.past, wall_m=slip.wall_m)
        return slip.reading_m(beam.distance_m)

    def _slip(self, fold: JobFold, shot: Shot) -> Slip | None:
        """Draw a slip; none where a reading is held: told that something is wrong, a person looks at the dot."""
        if self.slipping is None or self._held(fold, shot):
            return None
        return self.slipping.next(shot.start, shot.end, self.vehicle.stations(shot.unit))

    @staticmethod
    def _held(fold: JobFold, shot: Shot) -> list[int]:
        return [
            number
            for number, place in sorted(fold.board.places.items())
            if place.state == "held" and place.shot == shot.id and place.round == fold.board.round
        ]

    def settle_held(self, fold: JobFold) -> tuple[int, ...]:
        """Return held readings of the current shot that the technician, having looked again, stands by.

        A person stands by a held reading when the next one says the same (within 3 mm or 0.1 degree); a single
        held reading is simply shot again.
        """
        shot = fold.current()
        if shot is None:
            return ()
        held = self._held(fold, shot)
        quantity = fold.quantity_of(shot)
        near = {"length": 0.003, "inclination": 0.0018}[quantity.value]
        for first, second in pairwise(held):
            values = [fold.readings[number].values[quantity][0] for number in (first, second)]
            if abs(values[0] - values[1]) < near:
                return (first, second)
        return ()
