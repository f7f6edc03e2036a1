"""A job's state built by hand, so that every text in it can be chosen; all values are invented."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import pytest

from axledger.contract.instrument import Instrument, QuantityRecord
from axledger.contract.quantity import Quantity
from axledger.geometry.conformity import Rule, Verdict, judge
from axledger.job.layout import parse_layout
from axledger.job.plan import plan_shots
from axledger.job.preparation import PREPARATION
from axledger.job.solution import Result
from axledger.job.state import JobState, ReadingView, ShotView

_UTC_NS = 1_740_000_000_000_000_000


def _result(key: str, name: str, value: float | None, u: float, lower: float | None, upper: float | None) -> Result:
    judgement = judge(value, u, lower, upper) if value is not None else None
    limited = lower is not None or upper is not None
    return Result(
        key=key, name=name, against="the frame line", unit="mm" if key.endswith("offset") else "deg", value=value,
        u=u if value is not None else None, forecast_u=u, lower=lower, upper=upper,
        u95=2 * u if value is not None else None, forecast_u95=2 * u,
        verdict=judgement.verdict if judgement else Verdict.UNDETERMINED,
        probability=judgement.probability if judgement else None, zone_left=None,
        source="invented sheet, revision 3" if limited else "",
    )  # fmt: skip


RESULTS = (
    _result("tractor.steer.toe.total", "steer axle: total toe", 0.002, 0.0003, 0.001, 0.004),
    _result("tractor.drive.squareness", "drive axle: squareness", -0.006, 0.0004, -0.003, 0.003),
    _result("tractor.drive.offset", "drive axle: lateral offset", 0.0075, 0.001, None, 0.008),
    _result("tractor.drive.thrust", "drive axle: thrust angle", None, 0.01, None, None),
)


def _reading(number: int, state: str, why: str, shot: str | None, round_number: int = 1) -> ReadingView:
    return ReadingView(
        number=number, seq=20 + number, instrument="meter-a", value_si=4.318 + number / 1000, text=f"4.{318 + number}",
        unit="m", state=state, why=why, shot=shot, round=round_number, utc_ns=_UTC_NS + number * 10**9,
    )  # fmt: skip


@pytest.fixture
def state() -> JobState:
    """An open job in its first round with results of every kind."""
    text = files("axledger.job").joinpath("layouts/tractor-4x2.toml").read_text(encoding="utf-8")
    layout = parse_layout(text, path="tractor-4x2.toml")
    shots = plan_shots(layout)
    views = tuple(
        ShotView(
            shot=shot, number=number, total=len(shots), start_words="A place", end_words="B place",
            turn_words=tuple("a target" for _ in shot.turn), fold_words=(), status="done" if number < 30 else "skipped",
            readings=(), wanted_more=0, turned="person" if shot.turn else None,
        )
        for number, shot in enumerate(shots, start=1)
    )  # fmt: skip
    meter = Instrument(
        name="meter-a", serial="A-17", profile="metre-line", address="serial://sim", last_check="2025-02-27",
        quantities={Quantity.LENGTH: QuantityRecord(repeatability=0.0007, resolution=0.001, zero=0.0004, u_zero=0.001)},
    )  # fmt: skip
    readings = (_reading(1, "accepted", "", "F0L>S1Rf"), _reading(2, "held", "499 mm longer", "F0L>S1Lf"),
                _reading(3, "set aside", "undone", "F0L>S1Lf"))  # fmt: skip
    return JobState(
        job="20250301-1", person="Ada", opened_utc_ns=_UTC_NS, vehicle={"unit": "EX-204", "load": "empty"},
        layout=layout, limits_title="Invented limits", limits_example=True, rule=Rule.GUARD_95.value, repeats=1,
        round=1, closed=False, current=None, shots=views, blocked=("D1Lh>F0L",), results=RESULTS, earlier={},
        readings=readings,
        counts={"received": 4, "accepted": 1, "held": 1, "refused": 0, "set aside": 1, "unassigned": 0, "repeat": 0,
                "backlog": 0, "not a reading": 1},
        links=(), instruments={"meter": meter},
        preparation=tuple((i.id, i.words, "done" if i.id == "chocks" else None) for i in PREPARATION),
        decisive={"tractor.drive.thrust": "D1Rh>S1Rh"}, moves=(), notes=("left spring sits low",),
        meter_zero=(0.0006, 0.0003),
    )  # fmt: skip


@pytest.fixture
def two_rounds(state: JobState) -> JobState:
    """The same job after work: the drive axle is square now."""
    after = (RESULTS[0], _result("tractor.drive.squareness", "drive axle: squareness", 0.0005, 0.0004, -0.003, 0.003))
    moves = ((1, "left torque rod: 2 mm shim"),)
    return replace(state, round=2, results=after, earlier={1: RESULTS}, moves=moves)
