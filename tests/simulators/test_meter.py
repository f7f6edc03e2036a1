from __future__ import annotations

import math

import numpy as np
import pytest

from axledger_simulators.fault_script import FaultScript
from axledger_simulators.meter import DistanceMeter


def _exact(form: str = "metre-line", faults: FaultScript | None = None) -> DistanceMeter:
    return DistanceMeter(1, form=form, repeatability_m=0.0, zero_m=0.0, faults=faults)


def test_an_exact_meter_by_hand() -> None:
    assert _exact().shoot(4.3183) == b"4.318m\r\n"
    assert _exact("metre-line-fine").shoot(4.31823) == b"4.3182m\r\n"
    assert DistanceMeter(1, repeatability_m=0, zero_m=0.003, scale=1e-3).shoot(4.0) == b"4.007m\r\n"


def test_a_tilt_and_a_counter_travel_in_the_line() -> None:
    meter = _exact("metre-tilt")
    lines = [meter.shoot(4.318, tilt_rad=math.radians(-1.27)) for _ in range(2)]
    counter, length, tilt = lines[1].split(b"*")[0].split(b",")
    assert (counter, length) == (b"#0002", b"4.318m")
    assert float(tilt.removesuffix(b"d")) == pytest.approx(-1.27, abs=0.15)  # standard deviation 0.02


def test_a_polled_meter_answers_its_command_only() -> None:
    meter = _exact("polled-metre")
    assert meter.answer(b"D\r\n", 2.0).startswith(b"D:2.000m,00")
    assert meter.answer(b"V\r\n", 2.0) == b""
    assert meter.shots == 1


def test_zero_and_repeatability_have_the_stated_spread() -> None:
    assert np.std([DistanceMeter(seed).zero_m for seed in range(1000)]) == pytest.approx(0.001, rel=0.1)
    meter = DistanceMeter(4, form="metre-line-fine", zero_m=0.0)
    shown = [meter.measure(3.0) for _ in range(4000)]
    assert np.mean(shown) == pytest.approx(3.0, abs=5e-5)
    assert np.std(shown) == pytest.approx(0.0007, rel=0.1)


def test_same_seed_same_bytes() -> None:
    one, two = DistanceMeter(7, form="millimetre-quality"), DistanceMeter(7, form="millimetre-quality")
    assert [one.shoot(2.0 + n) for n in range(5)] == [two.shoot(2.0 + n) for n in range(5)]


def test_faults_do_not_change_the_other_shots() -> None:
    plain, faulty = DistanceMeter(7), DistanceMeter(7, faults=FaultScript(drop=2, device_fault=3))
    pairs = [(plain.shoot(3.0), faulty.shoot(3.0)) for _ in range(3)]
    assert pairs[0][0] == pairs[0][1]
    assert [got for _, got in pairs[1:]] == [b"", b"ERR255\r\n"]


def test_weak_quality_shows_in_the_figure() -> None:
    meter = _exact("millimetre-quality", faults=FaultScript(weak=2))
    figures = [int(meter.shoot(4.318).split(b",")[1]) for _ in range(40)]
    # small is good: about 93 as a rule, about 2410 on every second shot
    assert max(figures[0::2]) < 200
    assert min(figures[1::2]) > 1000
