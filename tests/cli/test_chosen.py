from __future__ import annotations

import argparse

import pytest

from axledger.cli.chosen import add_chosen, chosen_of
from axledger.contract.errors import UnknownName
from axledger.job.plan import Chosen


def parsed(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    add_chosen(parser)
    return parser.parse_args(words)


def test_nothing_said_is_the_default_walk() -> None:
    assert chosen_of(parsed()) == Chosen()


def test_all_of_it_can_be_said() -> None:
    chosen = chosen_of(parsed("--procedure", "thorough", "--no-turns", "--with", "camber, sweep"))
    assert chosen == Chosen(procedure="thorough", turns=False, parts=frozenset({"camber", "sweep"}))


def test_a_strange_part_is_named_with_the_known_ones() -> None:
    with pytest.raises(UnknownName, match="tyres") as caught:
        chosen_of(parsed("--with", "camber,tyres"))
    assert "camber, sweep" in str(caught.value.__dict__)
