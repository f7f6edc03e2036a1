"""Results and layouts for the drawing tests; all values are invented."""

from __future__ import annotations

from importlib.resources import files
from typing import Protocol

import pytest

from axledger.geometry.conformity import Verdict, judge
from axledger.job.layout import Layout, Unit, parse_layout
from axledger.job.solution import Result


class MakeResult(Protocol):
    def __call__(
        self, value: float | None, u: float, *, lower: float | None = None, upper: float | None = None,
        key: str = "tractor.drive.squareness", unit: str = "deg",
    ) -> Result: ...  # fmt: skip


def _result(
    value: float | None, u: float, *, lower: float | None = None, upper: float | None = None,
    key: str = "tractor.drive.squareness", unit: str = "deg",
) -> Result:  # fmt: skip
    judgement = judge(value, u, lower, upper) if value is not None else None
    return Result(
        key=key, name="drive axle: something", against="the frame line", unit=unit, value=value,
        u=u if value is not None else None, forecast_u=u, lower=lower, upper=upper,
        u95=2 * u if value is not None else None, forecast_u95=2 * u,
        verdict=judgement.verdict if judgement else Verdict.UNDETERMINED,
        probability=judgement.probability if judgement else None, zone_left=None,
    )  # fmt: skip


@pytest.fixture(scope="session")
def make_result() -> MakeResult:
    """Build a result in SI, judged like a real one."""
    return _result


def _layouts() -> list[Layout]:
    folder = files("axledger.job").joinpath("layouts")
    found = [entry for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return [parse_layout(entry.read_text(encoding="utf-8"), path=entry.name) for entry in found]


UNITS = {f"{layout.name}:{unit.id}": unit for layout in _layouts() for unit in layout.unit}


@pytest.fixture(params=sorted(UNITS), scope="session")
def unit(request: pytest.FixtureRequest) -> Unit:
    """Every unit of every shipped layout."""
    return UNITS[str(request.param)]
