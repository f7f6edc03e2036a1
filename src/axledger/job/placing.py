"""Where a reading goes: fills the current shot, is held, or stands unassigned; and when repeats agree."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from axledger.contract.quantity import Quantity
from axledger.job.at_once import asked_at_once, sure_slip
from axledger.job.board import Board, Place, Reading
from axledger.job.plan import Shot, role_of, sight_of, tilt_of
from axledger.job.solution import Prediction
from axledger.job.tilts import LEAST_TURN_RAD
from axledger_calibration.repeatability import critical_range, odd_one_out

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["hold_odd_one", "instrument_for", "missing_repeats", "place_reading"]

_FAR_SD = 4.0
_SUSPECT_SD = 2.5
"""From here on a reading is asked whether a slip of known size explains it, such as an exchanged pair."""
_FAR = {Quantity.LENGTH: 0.003, Quantity.INCLINATION: 0.00175}
"""A reading is held when it is both 4 sd and 3 mm (0.1 degree) from its prediction: simulated, no source."""
_MOST_READINGS = 5


def place_reading(fold: JobFold, reading: Reading) -> tuple[Board, Place]:
    """Return the board after the implied turn, and where the reading goes."""
    shot, board = fold.current(), fold.board
    here = Place(state="unassigned", round=board.round)
    if shot is None:
        return board, replace(here, why="no shot is open")
    quantity = fold.quantity_of(shot)
    if quantity not in reading.values:
        return board, replace(here, why=f"the open shot wants {_noun(quantity)}")
    if reading.instrument != (wanted := instrument_for(fold, shot)):
        return board, replace(here, why=f"the open shot is for {wanted}")
    turns = fold.turns_before(shot)
    doubt = _doubt(fold, shot, reading, turns)
    if doubt:
        return board, Place(state="held", why=doubt, round=board.round, shot=shot.id, turns=turns)
    if shot.turn and (board.round, shot.id) not in board.turned:
        board = board.turned_by(shot.turn, shot.id, "shot")
    place = Place(state="accepted", round=board.round, shot=shot.id, turns=turns)
    return _odd_one_held(fold, board, shot, reading, place)


def _noun(quantity: Quantity) -> str:
    return "an inclination" if quantity is Quantity.INCLINATION else "a length"


def instrument_for(fold: JobFold, shot: Shot) -> str:
    """Return the name of the instrument whose record the solver uses for the shot; no other may fill it."""
    return fold.instruments[role_of(shot)].name


def _doubt(fold: JobFold, shot: Shot, reading: Reading, turns: dict[str, int]) -> str:
    """Say why the reading must not be taken as it is; empty where nothing speaks against it."""
    if reading.quality is not None and reading.quality.doubtful:
        return f"weak return: quality {reading.quality.figure:g}, limit {reading.quality.limit:g}"
    quantity = fold.quantity_of(shot)
    if role_of(shot) == "plate" and (short := _too_little(reading.values[quantity][0])):
        return short
    expected = predicted(fold, shot, turns)
    if expected is None:
        return ""
    off = reading.values[quantity][0] - expected.value_si
    if abs(off) <= max(_FAR_SD * expected.sd_si, _FAR[quantity]):
        return _slip_words(fold, shot, reading, turns, off / expected.sd_si)
    return _far_words(fold, shot, reading, turns, off, expected)


def _slip_words(fold: JobFold, shot: Shot, reading: Reading, turns: dict[str, int], off_sd: float) -> str:
    """Say which slip explains a reading that is not far off, where one does so much better than chance."""
    asks = fold.header is not None and fold.header.asks_at_once
    if not asks or shot.kind == "tilt" or abs(off_sd) < _SUSPECT_SD:
        return ""
    asked = sure_slip(fold, shot, turns, reading.values[Quantity.LENGTH][0])
    return f"fits another line far better: {asked}" if asked else ""


def _too_little(turned_rad: float) -> str:
    """Say why a sweep must not rest on this turn; empty where it may."""
    turned_deg = math.degrees(turned_rad)
    if turned_rad < 0.0:
        return f"a turn of {turned_deg:.1f} deg: type it without a sign, both ways count positive"
    if turned_rad < LEAST_TURN_RAD:
        return (
            f"turned only {turned_deg:.1f} deg: caster wants {math.degrees(LEAST_TURN_RAD):.0f} deg or more each way, "
            "20 is usual; turn further and read again"
        )
    return ""


def _far_words(
    fold: JobFold, shot: Shot, reading: Reading, turns: dict[str, int], off: float, expected: Prediction
) -> str:
    if shot.kind == "tilt":
        return f"{abs(off) * 57.29578:.2f} deg from what the other readings predict: turned the wrong way?"
    way = "longer" if off > 0 else "shorter"
    asked = asked_at_once(fold, shot, turns, reading.values[Quantity.LENGTH][0])
    return f"{abs(off) * 1000:.0f} mm {way} than predicted ({expected.value_si * 1000:.0f} mm): {asked}"


def predicted(fold: JobFold, shot: Shot, turns: dict[str, int]) -> Prediction | None:
    """Return what the shot should read with its targets in the states ``turns``."""
    solution = fold.solution()
    if solution is None:
        return None
    line = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, turns)
    return solution.predict(line) if line in solution.rows else None


def _spread(fold: JobFold, shot: Shot, numbers: tuple[int, ...]) -> list[float]:
    quantity = fold.quantity_of(shot)
    return [fold.readings[number].values[quantity][0] for number in numbers]


def repeatability(fold: JobFold, shot: Shot) -> float:
    """Return the standard deviation of one reading of the shot, m or rad, display step included."""
    record = fold.instruments[role_of(shot)].quantities[fold.quantity_of(shot)]
    return float((record.repeatability**2 + record.resolution**2 / 12.0) ** 0.5)


def missing_repeats(fold: JobFold, shot: Shot) -> int:
    """Return how many more readings the shot wants: its repeats, or one more while they do not agree."""
    wanted = fold.header.repeats if fold.header is not None else 1
    wanted += fold.board.more.get((fold.board.round, shot.id), 0)
    numbers = fold.board.accepted(shot.id)
    if len(numbers) < wanted:
        return wanted - len(numbers)
    values = _spread(fold, shot, numbers)
    if len(values) < 2 or len(values) >= _MOST_READINGS:
        return 0
    return int(max(values) - min(values) > critical_range(len(values), repeatability(fold, shot)))


def _odd_one_held(fold: JobFold, board: Board, shot: Shot, reading: Reading, place: Place) -> tuple[Board, Place]:
    """Hold the one repeat that keeps the others from agreeing, the new one or an earlier one."""
    after = hold_odd_one(fold, board.placed(reading.number, place), shot)
    held = after.places[reading.number]
    # the reading itself is placed by the caller; here only what it did to the earlier ones counts
    earlier = {number: other for number, other in after.places.items() if number != reading.number}
    return replace(board, places=earlier), held


def hold_odd_one(fold: JobFold, board: Board, shot: Shot) -> Board:
    """Return the board with the odd one among a shot's repeats held; a person's own acceptance is left alone."""
    numbers = board.accepted(shot.id)
    odd = odd_one_out(_spread(fold, shot, numbers), repeatability(fold, shot))
    if odd is None or board.places[numbers[odd]].why:
        return board
    held = replace(board.places[numbers[odd]], state="held", why="does not agree with the other repeats of this shot")
    return board.placed(numbers[odd], held)
