"""The fold: a job's entries become its state. Live run and replay are this code on the same entries."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from axledger.contract.decoder import Decoder
from axledger.contract.errors import Refused
from axledger.contract.frame import DeviceFault, Measured, Status, StatusKind, Unreadable
from axledger.contract.instrument import Instrument
from axledger.contract.profile import Profile, parse_profile
from axledger.contract.quantity import Quantity
from axledger.job.acts import perform
from axledger.job.board import Board, Place, Reading
from axledger.job.follow_up import only_follow_up
from axledger.job.in_force import InForce, in_force_from
from axledger.job.layout import Layout
from axledger.job.limits import LimitSheet
from axledger.job.link_fold import Heard, LinkFold
from axledger.job.placing import missing_repeats, place_reading
from axledger.job.plan import Chosen, Shot, plan_shots, tilts_at_wheels
from axledger.job.proof import all_spares, lines_of
from axledger.job.rounds import RoundWork, joined, observed
from axledger.job.solution import Line, Solution, Solver
from axledger.job.tally import Tally

__all__ = ["EntryLike", "Happening", "Header", "JobFold"]


_UNDO_DEPTH = 200
"""How many steps undo goes back; a meter left babbling on one shot must not fill the memory."""


class EntryLike(Protocol):
    """What the fold needs of a ledger entry."""

    @property
    def seq(self) -> int:
        """Return the entry's sequence number."""
        ...

    @property
    def kind(self) -> str:
        """Return the kind of fact."""
        ...

    @property
    def body(self) -> Mapping[str, Any]:
        """Return the fact."""
        ...


@dataclass(frozen=True, slots=True)
class Happening:
    """Something a view may tell: ``kind`` is one of accepted, held, refused, noted, link, act, closed."""

    kind: str
    words: str
    reading: int | None = None
    shot: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """What a job was opened with.

    ``asks_at_once``: a reading that fits another line far better is held; false for a job of before there was such a
    question, whose readings were placed, and are placed again, without it.
    """

    job: str
    seq: int
    person: str
    utc_ns: int
    vehicle: Mapping[str, str]
    repeats: int
    layout_digest: str
    limits_digest: str | None
    instruments: Mapping[str, int]
    chosen: Chosen = field(default_factory=Chosen)
    in_force: InForce = field(default_factory=InForce)
    asks_at_once: bool = True


class JobFold:
    """The state of one job, entry by entry.

    Give it every entry of the ledger in order (records of profiles, layouts, limits and instruments are shared
    between jobs); entries of other jobs are passed over. ``quiet(now)`` lets time pass between entries.
    """

    def __init__(self, job: str, make_decoder: Callable[[Profile], Decoder]) -> None:
        self.job = job
        self._make_decoder = make_decoder
        self._profiles: dict[str, str] = {}
        self._layouts: dict[str, Mapping[str, Any]] = {}
        self._limits: dict[str, Mapping[str, Any]] = {}
        self._records: dict[int, Instrument] = {}
        self.header: Header | None = None
        self.layout: Layout | None = None
        self.limits: LimitSheet | None = None
        self.instruments: dict[str, Instrument] = {}
        self.links: dict[str, LinkFold] = {}
        self.readings: dict[int, Reading] = {}
        self.board = Board()
        self.past: list[tuple[Board, str]] = []
        self.heard: list[Heard] = []
        self.tally = Tally()
        self.statements: list[tuple[int, Mapping[str, Any]]] = []
        self.work: RoundWork | None = None
        self.closed = False
        self.last_seq = 0
        self._plans: dict[tuple[frozenset[str], ...], tuple[Shot, ...]] = {}
        self._every: tuple[Shot, ...] | None = None
        self._open: tuple[Board, tuple[Shot, ...]] | None = None
        self._utc_less_mono = 0

    # -- entries -------------------------------------------------------------------------------------------

    def apply(self, entry: EntryLike) -> list[Happening]:
        """Take the next entry; return what a view may tell of it."""
        self.last_seq = entry.seq
        body = entry.body
        shared = {"profile": self._profile, "layout": self._layout_record, "limits": self._limits_record,
                  "instrument": self._instrument_record}  # fmt: skip
        if entry.kind in shared:
            shared[entry.kind](entry.seq, body)
            return []
        if body.get("job") != self.job:
            return []
        happenings = self.quiet(int(body["mono"])) if self.links else []
        handlers = {"job": self._opened, "link": self._link, "arrival": self._arrival, "act": self._act,
                    "statement": self._statement}  # fmt: skip
        return happenings + handlers[entry.kind](entry.seq, body) if entry.kind in handlers else happenings

    def quiet(self, now_ns: int) -> list[Happening]:
        """Let time pass up to monotonic ``now_ns``: a gap may end a frame.

        Frames of several links come in the order in which their gaps ended, so that it does not matter how often
        this is called.
        """
        ended = [heard for link in self.links.values() for heard in link.quiet(now_ns)]
        ended.sort(key=lambda heard: heard.frame.at_ns + self.links[heard.link].gap_ns)
        return [told for heard in ended for told in self._take(heard)]

    def _profile(self, _seq: int, body: Mapping[str, Any]) -> None:
        self._profiles[body["digest"]] = body["text"]

    def _layout_record(self, _seq: int, body: Mapping[str, Any]) -> None:
        self._layouts[body["digest"]] = body["layout"]

    def _limits_record(self, _seq: int, body: Mapping[str, Any]) -> None:
        self._limits[body["digest"]] = body["limits"]

    def _instrument_record(self, seq: int, body: Mapping[str, Any]) -> None:
        self._records[seq] = Instrument.model_validate(body["instrument"])

    def _opened(self, seq: int, body: Mapping[str, Any]) -> list[Happening]:
        self.header = Header(
            job=self.job, seq=seq, person=body["person"], utc_ns=int(body["utc"]), vehicle=body["vehicle"],
            repeats=body["repeats"], layout_digest=body["layout"], limits_digest=body["limits"],
            instruments=body["instruments"], chosen=_chosen(body.get("chosen", {})),
            in_force=in_force_from(body.get("settings", {}), body.get("targets", {})),
            asks_at_once="settings" in body,
        )  # fmt: skip
        self.layout = Layout.model_validate(self._layouts[body["layout"]])
        if body["limits"] is not None:
            self.limits = LimitSheet.model_validate(self._limits[body["limits"]])
        self.instruments = {role: self._records[number] for role, number in body["instruments"].items()}
        self.work = RoundWork(self._solver_for(self.layout))
        return [Happening("act", f"job {self.job} opened")]

    def _link(self, seq: int, body: Mapping[str, Any]) -> list[Happening]:
        name, event, at_ns = body["link"], body["event"], int(body["mono"])
        if event == "opened" and name not in self.links:
            profile = parse_profile(self._profiles[body["profile"]], path="the ledger's profile")
            self.links[name] = self._new_link(name, body, profile)
        link = self.links.get(name)
        if link is None:  # a device that could not be reached yet: nothing to fold
            return [Happening("link", f"{body.get('instrument', name)}: {event} {body.get('why', '')}".strip())]
        if event in ("opened", "recovered"):
            left = link.opened(at_ns, "opened")
            link.identity = dict(body.get("identity", {}))
        elif event == "silent":
            link.state, left = "silent", ()
        else:
            left = link.ended(event)
        link.why = body.get("why", "")
        told = [happening for heard in left for happening in self._take(heard)]
        return [*told, Happening("link", f"{link.instrument}: link {event}" + (f" ({link.why})" if link.why else ""))]

    def _new_link(self, name: str, body: Mapping[str, Any], profile: Profile) -> LinkFold:
        link = LinkFold(
            link=name, role=body.get("role", ""), instrument=body.get("instrument", ""),
            address=body.get("address", ""), profile=profile, make_decoder=self._make_decoder,
        )  # fmt: skip
        earlier = [other for other in self.links.values() if other.instrument == link.instrument]
        if earlier and earlier[-1].profile == profile:
            link.goes_on_from(earlier[-1])
        return link

    def _arrival(self, seq: int, body: Mapping[str, Any]) -> list[Happening]:
        link = self.links[body["link"]]
        data, at_ns = bytes.fromhex(body["hex"]), int(body["mono"])
        heard = link.sent(data, at_ns) if body["dir"] == "out" else link.feed(data, at_ns, seq)
        self._utc_less_mono = int(body["utc"]) - at_ns
        return [told for one in heard for told in self._take(one)]

    # -- readings ------------------------------------------------------------------------------------------

    def _take(self, heard: Heard) -> list[Happening]:
        outcome = heard.frame.outcome
        if isinstance(outcome, Status) and outcome.kind is StatusKind.BLANK:
            return []  # the end mark's second half carries nothing; its bytes are in the ledger
        self.heard.append(heard)
        if not isinstance(outcome, Measured) or heard.use == "not a reading":
            self.tally = self.tally.plus(refused=isinstance(outcome, DeviceFault | Unreadable))
            quiet = isinstance(outcome, Status)
            return [Happening("noted" if quiet else "refused", heard.why)]
        number = len(self.readings) + 1
        link = self.links[heard.link]
        reading = Reading(
            number=number, seq=heard.seq, link=heard.link, instrument=link.instrument, role=link.role,
            raw=heard.frame.raw, at_ns=heard.frame.at_ns, utc_ns=heard.frame.at_ns + self._utc_less_mono,
            values={value.quantity: (value.si, value.text, value.unit) for value in outcome.values},
            quality=outcome.quality,
        )  # fmt: skip
        self.readings[number] = reading
        if heard.use in ("repeat", "backlog"):
            return self._stand(number, Place(state=heard.use, why=heard.why, round=self.board.round))
        return self._place(reading)

    def _stand(self, number: int, place: Place) -> list[Happening]:
        self.board = self.board.placed(number, place)
        kind = {"accepted": "accepted", "held": "held", "refused": "refused"}.get(place.state, "noted")
        return [Happening(kind, place.why, reading=number, shot=place.shot)]

    def _place(self, reading: Reading) -> list[Happening]:
        if self.closed or self.work is None:
            closed = Place(state="unassigned", why="the job is closed", round=self.board.round)
            return self._stand(reading.number, closed)
        before = self.board
        board, place = place_reading(self, reading)
        if place.state in ("accepted", "held"):
            self._remember(before, f"reading {reading.number}")
        self.board = board
        pushed_out = [
            Happening("noted", f"reading {number}: {other.why}", reading=number, shot=other.shot)
            for number, other in board.places.items()
            if before.places.get(number) != other
        ]
        return self._stand(reading.number, place) + pushed_out

    # -- acts ----------------------------------------------------------------------------------------------

    def _act(self, _seq: int, body: Mapping[str, Any]) -> list[Happening]:
        before = self.board
        board, words = perform(self, body)
        if body["act"] == "undo":
            self.past.pop()
        elif board is not before:
            self._remember(before, str(body["act"]))
        self.board = board
        return [Happening("act", words)]

    def _remember(self, before: Board, what: str) -> None:
        self.past.append((before, what))
        del self.past[:-_UNDO_DEPTH]

    def _statement(self, seq: int, body: Mapping[str, Any]) -> list[Happening]:
        self.statements.append((seq, body))
        self.closed = True
        return [Happening("closed", f"job {self.job} closed")]

    # -- what views ask ------------------------------------------------------------------------------------

    @property
    def chosen(self) -> Chosen:
        """Return how much of the layout's walk this job takes."""
        return self.header.chosen if self.header is not None else Chosen()

    def shots(self) -> tuple[Shot, ...]:
        """Return the plan of the present round, in walking order."""
        if self.layout is None:
            return ()
        board = self.board
        passed = frozenset(
            name for (number, name) in board.closed if number == board.round and (number, name) not in board.turned
        )
        left_out = board.left_out.get(board.round)
        key = (board.blocked, board.added, passed, frozenset({""}) if left_out is None else left_out)
        if key not in self._plans:
            self._plans[key] = plan_shots(self.layout, blocked=key[0], added=key[1], passed=key[2], chosen=self.chosen)
            if left_out is not None:
                self._plans[key] = only_follow_up(self._plans[key], left_out)
        named = {shot.id for shot in self._plans[key]}  # a spare that was asked for may have come into the plan since
        asked = (shot for number, shot in board.extra if number == board.round and shot.id not in named)
        return (*self._plans[key], *asked)

    def walk(self) -> tuple[Shot, ...]:
        """Return the plan of a full round as it would be now, in walking order."""
        if self.layout is None:
            return ()
        blocked, added = self.board.blocked, self.board.added
        return plan_shots(self.layout, blocked=blocked, added=added, chosen=self.chosen)

    def lines_taken(self, round_number: int) -> list[Line]:
        """Return the line of every accepted reading of a round, in order of arrival."""
        return [one.line for one in observed(self, round_number)]

    def every_shot(self) -> tuple[Shot, ...]:
        """Return all shots the layout offers, blocked and spare ones included."""
        if self._every is None and self.layout is not None:
            self._every = plan_shots(self.layout, added=all_spares(self.layout), chosen=self.chosen)
        # a spare that was asked for has its own name: it is there once, not once more as an extra
        offered = (*(self._every or ()), *(shot for _, shot in self.board.extra))
        return tuple({shot.id: shot for shot in offered}.values())

    def open_shots(self) -> tuple[Shot, ...]:
        """Return the shots still to be taken, in walking order."""
        # asked several times per reading; a board never changes in place, so its answer holds
        if self.layout is None:
            return ()
        if self._open is None or self._open[0] is not self.board:
            self._open = (self.board, tuple(shot for shot in self.shots() if self.status(shot) == "open"))
        return self._open[1]

    def status(self, shot: Shot) -> str:
        """Return open, done, or the word it was closed with (skipped)."""
        closed = self.board.closed.get((self.board.round, shot.id))
        return closed or ("done" if self._is_done(shot) else "open")

    def _is_done(self, shot: Shot) -> bool:
        return self.wanted_more(shot) == 0

    def wanted_more(self, shot: Shot) -> int:
        """Return how many more readings the shot wants, repeats that do not agree included."""
        return missing_repeats(self, shot)

    def current(self) -> Shot | None:
        """Return the shot the next reading fills."""
        waiting = self.open_shots()
        if self.board.focus is not None:
            return next((shot for shot in waiting if shot.id == self.board.focus), waiting[0] if waiting else None)
        return waiting[0] if waiting else None

    def turns_before(self, shot: Shot) -> dict[str, int]:
        """Return the half turns of all targets once the turn that goes with ``shot`` is made."""
        turns = dict(self.board.turns)
        if (self.board.round, shot.id) not in self.board.turned:
            for target in shot.turn:
                turns[target] = turns.get(target, 0) + 1
        return turns

    def solution(self, round_number: int | None = None) -> Solution | None:
        """Return the solved state of a round (default: the present one)."""
        if self.work is None:
            return None
        return self.work.solution(self, self.board.round if round_number is None else round_number)

    def fresh_solution(self, round_number: int) -> Solution | None:
        """Return a round solved from nothing but its accepted readings."""
        if self.layout is None:
            return None
        return self._solver_for(self.layout).solve(joined(self, round_number), [])

    def fresh_solver(self) -> Solver:
        """Return a solver of this job's layout, limits and instruments that has solved nothing yet."""
        if self.layout is None:
            raise LookupError(f"no job {self.job} among the entries")
        return self._solver_for(self.layout)

    def _solver_for(self, layout: Layout) -> Solver:
        return Solver(
            layout, self.limits, self.instruments.get("meter"), self.instruments.get("inclinometer"),
            self.in_force, plate=self.instruments.get("plate"), offered=tilts_at_wheels(layout, self.chosen),
        )  # fmt: skip

    @property
    def in_force(self) -> InForce:
        """Return what was known of the crew's settings and of the targets when the job was opened."""
        return self.header.in_force if self.header is not None else InForce()

    def upcoming(self) -> dict[str, Any]:
        """Return the line of every shot of the plan that is still open, turns of the walk included."""
        waiting = [
            replace(shot, turn=()) if shot.turn and (self.board.round, shot.id) in self.board.turned else shot
            for shot in self.open_shots()
        ]
        return lines_of(waiting, self.board.turns)

    def counts(self) -> dict[str, int]:
        """Return where every arrival went; the parts add up to ``received``."""
        return self.tally.with_places(self.board.places)

    def quantity_of(self, shot: Shot) -> Quantity:
        """Return what the shot measures."""
        return Quantity.INCLINATION if shot.kind == "tilt" else Quantity.LENGTH

    def shot_named(self, name: str) -> Shot:
        """Return the shot called ``name``; raise ``Refused`` with the known ones otherwise."""
        shots = {shot.id: shot for shot in self.shots()}
        if name not in shots:
            raise Refused(
                f"the plan has no shot {name!r}", found=name, allowed=", ".join(shots),
                do="name a shot as the plan lists it",
            )  # fmt: skip
        return shots[name]


def _chosen(body: Mapping[str, Any]) -> Chosen:
    """Return what a job's opening chose; jobs opened before there was a choice took the default walk."""
    return Chosen(
        procedure=body.get("procedure", "default"),
        turns=body.get("turns", True),
        parts=frozenset(body.get("parts", ())),
    )
