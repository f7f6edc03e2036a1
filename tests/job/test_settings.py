"""The parts of a setting error: totals as the study behind them states, and nothing negative."""

from __future__ import annotations

import math

import pytest
from pydantic import ValidationError

from axledger.job.settings import DEFAULT_SETTINGS, MountKind, Setting

# Total sd along the vehicle, mm: working figures of our own (simulated study, no outside source).
TOTALS = {MountKind.HUB: 0.5, MountKind.STRAIGHTEDGE: 1.0, MountKind.INBOARD: 1.0}


@pytest.mark.parametrize("kind", list(TOTALS), ids=lambda kind: kind.value)
def test_the_parts_add_up_to_the_total(kind: MountKind) -> None:
    setting = DEFAULT_SETTINGS[kind]
    total = math.hypot(setting.bias, setting.seating, setting.hub, setting.rest)
    assert total == pytest.approx(TOTALS[kind], rel=0.02)


def test_every_kind_has_a_default() -> None:
    assert set(DEFAULT_SETTINGS) == set(MountKind)


def test_a_half_turn_of_a_hub_target_leaves_a_quarter_millimetre() -> None:
    # Bias cancels, two seatings average: the study's 0.25 mm.
    hub = DEFAULT_SETTINGS[MountKind.HUB]
    assert math.hypot(hub.seating / math.sqrt(2), hub.hub, hub.rest) == pytest.approx(0.25, abs=0.01)


def test_a_negative_or_strange_part_is_refused() -> None:
    with pytest.raises(ValidationError, match="greater than or equal"):
        Setting(bias=-0.1)
    with pytest.raises(ValidationError, match="Extra inputs"):
        Setting.model_validate({"bend": 0.1})
