from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest

from axledger.contract.errors import BadInput
from axledger_simulators.clock import VirtualClock


def test_starts_at_the_stated_moment_and_stands_still() -> None:
    clock = VirtualClock()
    assert clock.now() == clock.now()
    assert datetime.fromtimestamp(clock.now().utc_ns / 1e9, UTC) == datetime(2026, 1, 5, 8, tzinfo=UTC)


def test_both_times_move_together() -> None:
    clock = VirtualClock()
    before, after = clock.now(), clock.advance(2.5)
    assert (after.mono_ns - before.mono_ns, after.utc_ns - before.utc_ns) == (2_500_000_000, 2_500_000_000)


def test_no_advance_is_lost_between_threads() -> None:
    clock = VirtualClock()
    start = clock.now().mono_ns
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(clock.advance, [0.001] * 2000))
    assert clock.now().mono_ns - start == 2_000_000_000


@pytest.mark.parametrize("seconds", [-0.1, float("nan")])
def test_refuses_to_run_backwards(seconds: float) -> None:
    with pytest.raises(BadInput, match="backwards"):
        VirtualClock().advance(seconds)
