from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from axledger.cli.proposed import meant, proposed_cure
from axledger.contract.errors import Refused
from axledger.job.next_steps import next_steps_of
from axledger.job.opening import fold_job
from axledger.ledger import Ledger
from axledger.terminal.keys import Wish, parse_command
from axledger_drivers.registry import decoder_for


@pytest.fixture
def fold(worked: Path) -> Any:
    """The fold of a whole simulated job."""
    with Ledger.read(worked) as ledger:
        return fold_job(ledger, "demo-4-1", decoder_for)


@pytest.mark.parametrize("line", ["undo", "moved left torque rod", "more K>T1Lh x2", "round full"])
def test_a_wish_that_points_at_nothing_is_itself(fold: Any, line: str) -> None:
    wish = parse_command(line)
    assert wish is not None
    assert meant(fold, wish) == [wish]


def test_what_was_not_proposed_is_refused(fold: Any) -> None:
    steps = next_steps_of(fold, asked=True)
    assert steps.suspected == ()
    with pytest.raises(Refused, match="no slip is suspected"):
        proposed_cure(fold)
    with pytest.raises(Refused, match="no slip is suspected"):
        meant(fold, Wish("cure"))
    with pytest.raises(Refused, match="no advised move number 40"):
        meant(fold, Wish("moved", {"advised": 40}))
    with pytest.raises(Refused, match="no piece of advice number 40"):
        meant(fold, Wish("more", {"advised": 40}))


def test_what_was_proposed_becomes_its_act(fold: Any) -> None:
    steps = next_steps_of(fold, asked=True)
    for number, one in enumerate(steps.advice, start=1):
        assert meant(fold, Wish("more", {"advised": number})) == [Wish(one.act, one.arguments)]
    for number, move in enumerate(steps.moves.moves, start=1):
        assert meant(fold, Wish("moved", {"advised": number})) == [Wish("moved", move.arguments)]
        (back,) = meant(fold, Wish("moved", {"advised": number, "amount_mm": -1.0}))
        assert back.arguments["amount_mm"] * move.signed_mm < 0
    if steps.moves.moves:
        assert len(meant(fold, Wish("moved", {"advised": "all"}))) == len(steps.moves.moves)
    else:
        with pytest.raises(Refused, match="no advised move is left"):
            meant(fold, Wish("moved", {"advised": "all"}))
