from __future__ import annotations

from axledger.job.board import Board, Place


def test_boards_never_change_in_place() -> None:
    board = Board()
    changed = (
        board.placed(1, Place(state="accepted", shot="a")).with_closed("b", "skipped").turned_by(("T",), "a", "shot")
    )
    assert board == Board()
    assert changed.places == {1: Place(state="accepted", shot="a")}
    assert changed.closed == {(1, "b"): "skipped"}
    assert changed.turns == {"T": 1}
    assert changed.turned == {(1, "a"): "shot"}
    assert changed.reopened("b").closed == {}


def test_closing_a_shot_ends_what_was_asked_for() -> None:
    assert Board(focus="a").with_closed("b", "skipped").focus is None


def test_accepted_readings_are_listed_by_arrival_shot_and_round() -> None:
    board = Board(round=2)
    placed = {
        4: Place(state="accepted", shot="a", round=2),
        2: Place(state="accepted", shot="a", round=2),
        1: Place(state="accepted", shot="a", round=1),
        3: Place(state="held", shot="a", round=2),
        5: Place(state="accepted", shot="b", round=2),
    }
    for number, place in placed.items():
        board = board.placed(number, place)
    assert board.accepted("a") == (2, 4)
    assert board.accepted("a", 1) == (1,)


def test_turns_add_up_and_a_turn_not_made_turns_nothing() -> None:
    board = (
        Board().turned_by(("T", "U"), "a", "person").turned_by(("T",), "b", "shot").turned_by(("U",), "c", "not turned")
    )
    assert board.turns == {"T": 2, "U": 1}
    assert board.turned[1, "c"] == "not turned"
