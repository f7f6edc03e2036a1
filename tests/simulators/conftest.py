"""Layouts of invented vehicles, and the proof that a simulated peer leaves no thread behind."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from importlib.resources import files

import pytest

from axledger.job.layout import Layout, parse_layout

_COMBINATION = """
schema = 1
name = "test-combination"
title = "Test combination"
source = "invented for tests"

[[unit]]
id = "truck"
name = "truck"
kind = "powered"
reference = "axle-middles"
axle = [
  { code = "S1", id = "steer", name = "steer", kind = "steer", x_m = 0.0, group = "front", wheel_half_m = 1.04, pivot_half_m = 0.865 },
  { code = "D1", id = "drive1", name = "drive 1", kind = "driven", x_m = -3.2, group = "rear", wheel_half_m = 0.9 },
  { code = "D2", id = "drive2", name = "drive 2", kind = "driven", x_m = -4.6, group = "rear", wheel_half_m = 0.9 },
]
mount = [
  { kind = "straightedge", axle = "S1", half_span_m = 1.265, half_length_m = 0.6 },
  { kind = "hub", axle = "D1", half_span_m = 1.35 },
  { kind = "hub", axle = "D2", half_span_m = 1.35 },
]
stand = [{ at = "S1Lr", shots = [{ to = "D1Lh" }] }]

[[unit]]
id = "trailer"
name = "trailer"
kind = "towed"
reference = "coupling"
axle = [
  { code = "T1", id = "axle1", name = "axle 1", kind = "carrying", x_m = -7.0, group = "rear", wheel_half_m = 1.02 },
  { code = "T2", id = "axle2", name = "axle 2", kind = "carrying", x_m = -8.4, group = "rear", wheel_half_m = 1.02 },
]
mount = [
  { kind = "pin", code = "K", x_m = 0.0 },
  { kind = "hub", axle = "T1", half_span_m = 1.33 },
  { kind = "hub", axle = "T2", half_span_m = 1.33 },
]
stand = [{ at = "K", shots = [{ to = "T1Lh" }] }]
"""  # noqa: E501  (one axle or mount a line reads like a table)


@pytest.fixture
def threads_end() -> Iterator[None]:
    """Fail where a thread started in the test lives longer than it."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in threading.enumerate() if thread not in before]
    for thread in left:
        thread.join(3.0)
    assert [thread.name for thread in left if thread.is_alive()] == []


@pytest.fixture(scope="session")
def tractor() -> Layout:
    """The shipped example, its solids left out so that a test adds its own."""
    text = files("axledger.job").joinpath("layouts/tractor-4x2.toml").read_text(encoding="utf-8")
    layout = parse_layout(text, path="tractor-4x2.toml")
    return layout.model_copy(update={"unit": tuple(unit.model_copy(update={"solid": ()}) for unit in layout.unit)})


@pytest.fixture(scope="session")
def combination() -> Layout:
    """A truck judged by its axle middles and an uncoupled two-axle semitrailer."""
    return parse_layout(_COMBINATION, path="combination.toml")
