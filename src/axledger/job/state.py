"""What a view may show of a job, as one value: every view is fed by a stream of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from axledger.contract.instrument import Instrument
from axledger.job.fold import JobFold
from axledger.job.layout import Layout, stations_of
from axledger.job.next_steps import NextSteps, next_steps_of
from axledger.job.placing import predicted
from axledger.job.plan import Shot
from axledger.job.preparation import PREPARATION
from axledger.job.proof import decisive_shots
from axledger.job.solution import Prediction, Result

__all__ = ["JobState", "LinkView", "ReadingView", "ShotView", "Words", "decisive_of", "state_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingView:
    """A reading as it stands: ``value_si`` m or rad, ``text`` and ``unit`` as sent."""

    number: int
    seq: int
    instrument: str
    value_si: float
    text: str
    unit: str
    state: str
    why: str
    shot: str | None
    round: int
    utc_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotView:
    """A shot of the plan with its readings. ``status``: open, done, skipped. ``turned``: how the turn is known."""

    shot: Shot
    number: int
    total: int
    start_words: str
    end_words: str
    turn_words: tuple[str, ...]
    fold_words: tuple[str, ...]
    status: str
    readings: tuple[ReadingView, ...]
    wanted_more: int
    turned: str | None
    predicted: Prediction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkView:
    """A link: ``state`` opened, lost, recovered, silent, closed; ``arrivals`` so far."""

    role: str
    instrument: str
    address: str
    state: str
    why: str
    arrivals: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JobState:
    """Everything a view shows. ``results`` are of the present round, ``earlier`` those of rounds before it.

    ``contradicts``: the accepted readings cannot all be right, so no result of this round can be relied on.
    ``steps``: suspected slips, and once the plan is done what to measure next and what to move.
    ``decisive`` names, for a result not yet determined, the shot of the walk that will determine it.
    """

    job: str
    person: str
    opened_utc_ns: int
    vehicle: Mapping[str, str]
    layout: Layout
    limits_title: str
    limits_example: bool
    rule: str
    repeats: int
    round: int
    closed: bool
    current: ShotView | None
    shots: tuple[ShotView, ...]
    blocked: tuple[str, ...]
    results: tuple[Result, ...]
    earlier: Mapping[int, tuple[Result, ...]]
    readings: tuple[ReadingView, ...]
    counts: Mapping[str, int]
    links: tuple[LinkView, ...]
    instruments: Mapping[str, Instrument]
    preparation: tuple[tuple[str, str, str | None], ...]
    decisive: Mapping[str, str]
    moves: tuple[tuple[int, str], ...]
    notes: tuple[str, ...]
    meter_zero: tuple[float, float] | None
    contradicts: bool = False
    steps: NextSteps | None = None

    @property
    def last(self) -> ReadingView | None:
        """Return the newest reading."""
        return self.readings[-1] if self.readings else None


class Words:
    """Station and target words of a layout, looked up once."""

    def __init__(self, layout: Layout) -> None:
        stations = [station for unit in layout.unit for station in stations_of(unit)]
        self.station = {station.name: station.words for station in stations}
        self.target = {station.target: station.words.split(",")[0] + _what(station.words) for station in stations}


def _what(words: str) -> str:
    kind = words.rsplit(", ", maxsplit=1)[-1] if ", " in words else ""
    return f", {'straightedge' if 'straightedge' in words else kind}" if kind else ""


def state_of(fold: JobFold, words: Words, decisive: Mapping[str, str] | None = None) -> JobState:
    """Return the present state; ``fold`` must have met the job's opening entry."""
    if fold.layout is None or fold.header is None:
        raise LookupError(f"no job {fold.job} among the entries")
    shots = fold.shots()
    current = fold.current()
    views = tuple(_shot_view(fold, words, shot, index, len(shots)) for index, shot in enumerate(shots, start=1))
    # a closed job shows what it stated: solved as its statement was, to the last digit
    now = fold.fresh_solution(fold.board.round) if fold.closed else fold.solution()
    zero = f"{fold.instruments['meter'].name}.length.zero" if "meter" in fold.instruments else ""
    return JobState(
        job=fold.job,
        person=fold.header.person,
        opened_utc_ns=fold.header.utc_ns,
        vehicle=fold.header.vehicle,
        layout=fold.layout,
        limits_title=fold.limits.title if fold.limits is not None else "no limits",
        limits_example=fold.limits.example if fold.limits is not None else False,
        rule=fold.limits.decision_rule.value if fold.limits is not None else "",
        repeats=fold.header.repeats,
        round=fold.board.round,
        closed=fold.closed,
        current=next((view for view in views if current is not None and view.shot.id == current.id), None),
        shots=views,
        blocked=tuple(sorted(fold.board.blocked)),
        results=now.results if now is not None else (),
        earlier={number: _results(fold, number) for number in range(1, fold.board.round)},
        readings=tuple(_reading_view(fold, number) for number in sorted(fold.readings)),
        counts=fold.counts(),
        links=tuple(
            LinkView(
                role=link.role, instrument=link.instrument, address=link.address, state=link.state, why=link.why,
                arrivals=link.arrivals,
            )
            for link in fold.links.values()
        ),
        instruments=fold.instruments,
        preparation=tuple((item.id, item.words, fold.board.ticks.get(item.id)) for item in PREPARATION),
        decisive=decisive or {},
        moves=fold.board.moves,
        notes=fold.board.notes,
        meter_zero=now.parameter(zero) if now is not None else None,
        contradicts=now.contradicts if now is not None else False,
        steps=next_steps_of(fold),
    )  # fmt: skip


def _results(fold: JobFold, number: int) -> tuple[Result, ...]:
    solution = fold.fresh_solution(number) if fold.closed else fold.solution(number)
    return solution.results if solution is not None else ()


def _reading_view(fold: JobFold, number: int) -> ReadingView:
    reading, place = fold.readings[number], fold.board.places[number]
    value, text, unit = next(iter(reading.values.values()))
    if place.shot is not None:
        shot = next((shot for shot in fold.every_shot() if shot.id == place.shot), None)
        if shot is not None and fold.quantity_of(shot) in reading.values:
            value, text, unit = reading.values[fold.quantity_of(shot)]
    return ReadingView(
        number=number, seq=reading.seq, instrument=reading.instrument, value_si=value, text=text, unit=unit,
        state=place.state, why=place.why, shot=place.shot, round=place.round, utc_ns=reading.utc_ns,
    )  # fmt: skip


def _shot_view(fold: JobFold, words: Words, shot: Shot, number: int, total: int) -> ShotView:
    status = fold.status(shot)
    mine = tuple(
        _reading_view(fold, taken)
        for taken, place in sorted(fold.board.places.items())
        if place.shot == shot.id and place.round == fold.board.round
    )
    return ShotView(
        shot=shot,
        number=number,
        total=total,
        start_words=words.station[shot.start],
        end_words=words.station.get(shot.end, ""),
        turn_words=tuple(words.target[target] for target in shot.turn),
        fold_words=tuple(words.target[target] for target in shot.fold),
        status=status,
        readings=mine,
        wanted_more=fold.wanted_more(shot) if status == "open" else 0,
        turned=fold.board.turned.get((fold.board.round, shot.id)),
        predicted=predicted(fold, shot, fold.turns_before(shot)) if fold.current() == shot else None,
    )


def decisive_of(fold: JobFold) -> dict[str, str]:
    """Return which shot of the present plan first determines each result."""
    if fold.header is None:
        return {}
    return decisive_shots(fold.fresh_solver(), fold.shots(), fold.header.repeats)
