"""What could be measured next: every line of the layout as its targets hang, and every target turned once more."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from axledger.job.handling import STAND_S, TURN_S, shooting_s
from axledger.job.model import Sight
from axledger.job.more import offered_shots, turnable_targets
from axledger.job.plan import Shot, sight_of, tilt_of
from axledger.job.settings import MountKind
from axledger.job.solution import Line
from axledger.job.tilts import SWEEP_TILTS

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["Kind", "Offer", "Yard", "open_offers", "yard_of"]

Kind = Literal["open", "repeat", "look", "spare", "turn"]
_AHEAD = ((0, 0), (1, 0), (0, 1), (1, 1), (2, 0), (0, 2))
"""States of a line's two targets that are looked into: each turned once more, or one of them twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """Something to do: ``lines`` with ``readings`` of each, after ``turn`` (a target or empty) was turned.

    ``act`` and ``arguments`` are what a person would ask the job for. ``seconds`` is what it takes.
    """

    kind: Kind
    shots: tuple[Shot, ...]
    lines: tuple[Line, ...]
    readings: int
    words: str
    seconds: float
    act: str
    arguments: Mapping[str, Any]
    turn: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Yard:
    """The lines of a job in every state they could be shot in.

    ``shots`` has one shot for each pair of stations, ``turnable`` the kind of every target that can be turned,
    ``turns`` the half turns made so far, ``pending`` the targets that the plan is still to turn, ``standing`` the
    station of the newest reading, ``done`` and ``walked`` the names of shots with readings and of the plan's.
    """

    shots: tuple[Shot, ...]
    done: frozenset[str]
    walked: frozenset[str]
    turnable: Mapping[str, MountKind]
    turns: Mapping[str, int]
    seen: frozenset[Line]
    repeats: int
    standing: str
    pending: frozenset[str] = frozenset()
    _states: tuple[dict[tuple[int, int], Line], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_states", tuple(self._states_of(shot) for shot in self.shots))

    def _states_of(self, shot: Shot) -> dict[tuple[int, int], Line]:
        if shot.kind == "tilt":
            return {(0, 0): tilt_of(shot)}
        turns = tuple(self.turns.get(target, 0) for target in shot.targets)
        able = tuple(target in self.turnable for target in shot.targets)
        return {
            (turns[0] + more[0], turns[1] + more[1]): Sight(
                shot.start, shot.end, turns[0] + more[0], turns[1] + more[1]
            )
            for more in _AHEAD
            if able[0] >= (more[0] > 0) and able[1] >= (more[1] > 0)
        }

    def lines(self) -> list[Line]:
        """Return every line in every state that is looked into."""
        return [line for states in self._states for line in states.values()]

    def present(self, turns: Mapping[str, int]) -> list[tuple[Shot, Line]]:
        """Return every shot with its line as it is with the targets turned ``turns`` times, where looked into."""
        return [(shot, line) for shot, states in zip(self.shots, self._states, strict=True)
                if (line := states.get(_key(shot, turns))) is not None]  # fmt: skip

    def seeing(self, target: str, turns: Mapping[str, int]) -> list[tuple[Shot, Line]]:
        """Return the shots taken already that see ``target``, with their lines at ``turns``, where looked into."""
        return [(shot, line) for shot, states in zip(self.shots, self._states, strict=True)
                if target in shot.targets and shot.id in self.done
                and (line := states.get(_key(shot, turns))) is not None]  # fmt: skip

    def kind_of(self, shot: Shot, line: Line) -> Kind:
        """Return what shooting ``line`` would be: a repeat, another look, or a line not shot before."""
        return "repeat" if line in self.seen else "look" if shot.id in self.done else "spare"

    def readings_of(self, kind: Kind) -> int:
        """Return how many readings go with it: one more of a shot, the usual number of a new look."""
        return 1 if kind == "repeat" else self.repeats

    def look_s(self, shot: Shot, kind: Kind) -> float:
        """Return the seconds of a look."""
        return shooting_s([shot.start], self.readings_of(kind), self.standing)

    def look(self, shot: Shot, line: Line) -> Offer:
        """Return the offer to shoot ``line``."""
        kind = self.kind_of(shot, line)
        new = "" if shot.id in self.walked else "the spare line "
        words = {
            "repeat": f"one more reading of {shot.id}",
            "look": f"shoot {shot.id} once more",
            "spare": f"shoot {new}{shot.id}",
        }[kind]
        readings = self.readings_of(kind)
        return Offer(
            kind=kind, shots=(shot,), lines=(line,), readings=readings, words=words, seconds=self.look_s(shot, kind),
            act="more", arguments={"shots": [shot.id], "readings": readings},
        )  # fmt: skip

    def turning_s(self, target: str, shots: Sequence[Shot]) -> float:
        """Return the seconds it takes to turn ``target`` and shoot ``shots`` after it."""
        shooting = shooting_s([shot.start for shot in shots], self.repeats, "")
        return TURN_S[self.turnable[target]] + STAND_S + shooting

    def turned(self, target: str, seen: Sequence[tuple[Shot, Line]]) -> Offer:
        """Return the offer to turn ``target`` and shoot lines after it."""
        shots = [shot for shot, _ in seen]
        again = ", ".join(shot.id for shot in shots)
        return Offer(
            kind="turn", shots=tuple(shots), lines=tuple(line for _, line in seen), readings=self.repeats,
            words=f"{_turning(target, self.turnable[target])} and shoot {again} again",
            seconds=self.turning_s(target, shots), act="more", turn=target,
            arguments={"shots": [shot.id for shot in shots], "turn": [target], "readings": self.repeats},
        )  # fmt: skip


def _key(shot: Shot, turns: Mapping[str, int]) -> tuple[int, int]:
    return (0, 0) if shot.kind == "tilt" else (turns.get(shot.targets[0], 0), turns.get(shot.targets[1], 0))


def _turning(target: str, kind: MountKind) -> str:
    return {
        MountKind.HUB: f"turn target {target} half a turn",
        MountKind.STRAIGHTEDGE: f"lay straightedge {target} end for end",
        MountKind.INBOARD: f"hang target {target} turned half a turn",
    }[kind]


def open_offers(fold: JobFold, standing: str) -> list[Offer]:
    """Return the shots of the plan that are still open."""
    upcoming, turnable = fold.upcoming(), turnable_targets(fold)
    offers: list[Offer] = []
    for shot in fold.open_shots():
        line, readings = upcoming[shot.id], max(1, fold.wanted_more(shot))
        due = [
            target
            for target, turns in zip(shot.targets, _turns_of(line), strict=True)
            for _ in range(turns - fold.board.turns.get(target, 0))
        ]
        seconds = shooting_s([shot.start], readings, standing) + sum(TURN_S[turnable[target]] for target in due)
        offers.append(
            Offer(
                kind="open", shots=(shot,), lines=(line,), readings=readings, words=f"shoot {shot.id}",
                seconds=seconds, act="go", arguments={"shot": shot.id},
            )
        )  # fmt: skip
    return offers


def _turns_of(line: Line) -> tuple[int, int]:
    return (line.start_turns, line.end_turns) if isinstance(line, Sight) else (0, 0)


def yard_of(fold: JobFold, seen: Collection[Line], units: Collection[str]) -> Yard:
    """Return the yard of the present round for some ``units``; ``seen`` are the lines of its readings."""
    board, done = fold.board, {shot.id for shot in fold.every_shot() if fold.board.accepted(shot.id)}
    out = {shot.id for shot in fold.open_shots()} | board.blocked
    chosen: dict[frozenset[str], tuple[int, Shot]] = {}
    for shot in offered_shots(fold).values():
        # a stop of a steering sweep cannot be taken again alone: the wheels would have to come back to it
        if shot.id in out or shot.unit not in units or shot.tilt in SWEEP_TILTS:
            continue
        line = tilt_of(shot) if shot.kind == "tilt" else sight_of(shot, board.turns)
        # a line is shot again the way it was shot before, best by someone whose targets still hang as they did
        fit = (shot.id in done) + (shot.id in done and line in seen)
        ends = frozenset((shot.start, shot.end or shot.tilt))
        if ends not in chosen or fit > chosen[ends][0]:
            chosen[ends] = (fit, shot)
    newest = max((number for number, place in board.places.items() if place.state == "accepted"), default=0)
    last = next((shot for shot in fold.every_shot() if newest and shot.id == board.places[newest].shot), None)
    return Yard(
        shots=tuple(shot for _, shot in chosen.values()), done=frozenset(done),
        walked=frozenset(shot.id for shot in fold.shots()), turnable=turnable_targets(fold), turns=dict(board.turns),
        seen=frozenset(seen), repeats=fold.header.repeats if fold.header is not None else 1,
        standing=last.start if last is not None else "",
        pending=frozenset(target for shot in fold.open_shots() for target in shot.turn),
    )  # fmt: skip
