"""A simulated technician: looks at the current shot, walks, turns what is to be turned, shoots.

The technician knows only what the screen shows (the fold's current shot); the vehicle answers with what the beam
really hits. Handling times are invented working figures; ``pause`` spends them (a virtual clock, or sleep).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

from axledger.job.fold import JobFold
from axledger.job.plan import Shot, role_of
from axledger_simulators.beam import trace
from axledger_simulators.blunders import Planted
from axledger_simulators.kit import Kit
from axledger_simulators.slips import Slip, Slipping
from axledger_simulators.vehicle import SimulatedVehicle

__all__ = ["Technician"]

_SHOT_S, _REPEAT_S, _WALK_S, _TURN_S = 10.0, 3.0, 5.0, 20.0


@dataclass(slots=True, kw_only=True)
class Technician:
    """Works through a plan. ``slipping`` makes human slips at its own rate; ``pause`` takes seconds.

    ``planted`` is one slip that is made at its own shots, repeats included. ``untouched`` is then a vehicle built like
    ``vehicle`` in which nothing is moved by a slip; ``errors_m`` holds by reading what the slip adds to it.
    """

    vehicle: SimulatedVehicle
    kit: Kit
    pause: Callable[[float], None]
    slipping: Slipping | None = None
    planted: Planted | None = None
    untouched: SimulatedVehicle | None = None
    errors_m: dict[int, float] = field(default_factory=dict[int, float])
    _moved: bool = False
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
            if role_of(shot) == "plate":
                self.kit.plate_peer.send(self.kit.plates.shoot(tilt))
                return
            self.kit.inclinometer_peer.send(self.kit.inclinometer.shoot(tilt))
        else:
            slip = self._slip(fold, shot)
            length_m = self._length(shot, slip)
            if self.untouched is not None:
                wanted = trace(self.untouched, shot.start, shot.end, folded=shot.fold).distance_m
                self.errors_m[len(fold.readings) + 1] = length_m - wanted
            self.kit.meter_peer.send(self.kit.meter.shoot(length_m))

    def sees(self, shot: Shot) -> bool:
        """Tell whether nothing stands in the way of a shot."""
        if shot.kind == "tilt":
            return True
        return trace(self.vehicle, shot.start, shot.end, folded=shot.fold).what == shot.end

    def _get_there(self, fold: JobFold, shot: Shot) -> None:
        if self._standing != shot.start:
            self.pause(_WALK_S)
        key = (fold.board.round, shot.id)
        due = shot.turn if key not in self._turned and key not in fold.board.turned else ()
        for target in due:
            self.vehicle.turn(target)
            if self.untouched is not None:
                self.untouched.turn(target)
            self.pause(_TURN_S)
        self._turned.add(key)
        self._let_move(shot)
        self.pause(_REPEAT_S if self._last == shot.id else _SHOT_S)
        self._standing, self._last = shot.start, shot.id

    def _let_move(self, shot: Shot) -> None:
        move = self.planted.move if self.planted is not None else None
        if move is not None and not self._moved and move.before == shot.id:
            move.happen(self.vehicle)
            self._moved = True

    def _length(self, shot: Shot, slip: Slip | None) -> float:
        if slip is None:
            return trace(self.vehicle, shot.start, shot.end, folded=shot.fold).distance_m
        start = slip.start or shot.start
        beam = trace(self.vehicle, start, slip.end, folded=shot.fold, past=slip.past, wall_m=slip.wall_m)
        return slip.reading_m(beam.distance_m)

    def _slip(self, fold: JobFold, shot: Shot) -> Slip | None:
        """Draw a slip; none where a reading is held: told that something is wrong, a person looks at the dot."""
        if self.planted is not None:
            return self.planted.instead.get(shot.id)
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
