from __future__ import annotations

import pytest

from axledger_drivers.link_state import ALLOWED, LinkState, step


def test_every_state_is_in_the_table_and_can_be_reached() -> None:
    assert set(ALLOWED) == set(LinkState)
    assert frozenset().union(*ALLOWED.values()) == set(LinkState)


def test_every_state_but_closed_can_close() -> None:
    assert {state for state in LinkState if LinkState.CLOSED in ALLOWED[state]} == set(LinkState) - {LinkState.CLOSED}


@pytest.mark.parametrize("now", LinkState)
@pytest.mark.parametrize("to", LinkState)
def test_a_step_is_allowed_exactly_where_the_table_says_so(now: LinkState, to: LinkState) -> None:
    if to in ALLOWED[now]:
        assert step(now, to) is to
    else:
        with pytest.raises(RuntimeError, match=f"from {now.value} to {to.value}"):
            step(now, to)
