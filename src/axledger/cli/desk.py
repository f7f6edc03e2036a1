"""The desk of a running job: does what a person asks for at the screen, and says what cannot be done."""

from __future__ import annotations

import shutil
import time
from typing import Any

from axledger.cli.proposed import meant, proposed_cure
from axledger.job.next_steps import next_steps_of
from axledger.terminal.keys import Wish

__all__ = ["Desk"]

_WAIT_S = 0.05
"""How long to wait for bytes before looking at the keys: short enough that a key feels immediate."""
_ANSWER_WITHIN_S = 5.0
_ASKED_TWICE = {
    "close": ("c", "close for good, {open} shots open{slips}?"),
    "swap": ("w", "swap the last shot's readings with those of the other side?"),
    "cure": ("y", "{cure}?"),
}


class Desk:
    """Does what the person asks for. ``asks``: a single key that cannot be undone is asked for twice."""

    def __init__(self, run: Any, view: Any, *, asks: bool) -> None:
        self._run, self._view, self._asks = run, view, asks
        self._asked: tuple[str, str, float] | None = None
        self._ended = False
        self._full = False
        self._typing: str | None = None

    def pump(self) -> None:
        """Take what arrived. Where it cannot be stored, say so and go on: it waits, and is stored once it can be."""
        from axledger.contract.errors import StorageTrouble

        try:
            told = self._run.pump(_WAIT_S)
        except StorageTrouble as trouble:
            if not self._full:
                self._view.say(f"NOT STORED, NOT TAKEN: {trouble.what}: {trouble.found}; {trouble.do}")
            self._full = True
            time.sleep(_WAIT_S)
            return
        if self._full:
            self._full = False
            self._view.say("stored again: what waited is in the ledger")
        if told:
            self._view.watch(self._run.fold, told)

    def serve(self, wishes: Any) -> bool:
        """Do what was asked for since the last call; return whether to leave.

        Tells what cannot be done, and raises it where the links have ended already: nothing more would come then.
        """
        from axledger.contract.errors import AxledgerError

        try:
            wanted = wishes.wishes()
            self._show_typing(getattr(wishes, "typing", None))  # before anything is said, which it would wipe away
            for wish in wanted:
                if self._asked is not None and wish.act != self._asked[0]:
                    self._asked = None
                if self._do(wish):
                    return True
        except AxledgerError as error:
            if self._ended:
                raise
            self._typing = getattr(wishes, "typing", None)
            # what to do comes before what is allowed: a screen may have no room for a long list
            self._view.say(f"{error.what}: found {error.found}; {error.do}; allowed {error.allowed}")
        return False

    def _show_typing(self, typing: str | None) -> None:
        if typing != self._typing:
            self._view.say(f":{typing}" if typing is not None else "")
        self._typing = typing

    def _do(self, wish: Any) -> bool:
        from axledger.terminal.keys import key_help

        run, view = self._run, self._view
        if wish.act == "quit":
            view.say("leaving: what arrived is being stored; the job stays open")
            return True
        if wish.act in ("help", "advice"):
            view.page(key_help() if wish.act == "help" else self._advice())
            return False
        if self._asks and wish.act in _ASKED_TWICE and not self._confirmed(wish.act):
            return False
        if wish.act == "close":
            self._ended = True
            view.watch(run.fold, [*run.stop(), *run.close_job()])
            return True
        self._act(wish)
        return False

    def _act(self, wish: Wish) -> None:
        """Do the acts behind a wish one by one: what is done is shown even where a later one is refused."""
        run, words = self._run, list[str]()
        for one in meant(run.fold, wish):
            told = run.measure() if one.act == "measure" else run.act(one.act, **one.arguments)
            self._view.watch(run.fold, told)
            words += [happening.words for happening in told if happening.kind == "act"]
        self._view.say("; ".join(words))

    def _advice(self) -> tuple[str, ...]:
        from axledger.terminal.next_lines import next_lines

        width = max(60, shutil.get_terminal_size((80, 24)).columns)
        lines = next_lines(next_steps_of(self._run.fold, asked=True), width=width)
        return lines or ("nothing to say: no slip is suspected, nothing is undecided, nothing has to be moved",)

    def _confirmed(self, act: str) -> bool:
        """Ask once more before what a stray key must not do; the answer counts for a few seconds only.

        It counts for what was asked, too: where a reading came in between and another step is proposed now, that
        one is asked for.
        """
        key, what = _ASKED_TWICE[act]
        fold = self._run.fold
        standing = len(next_steps_of(fold).suspected)
        question = what.format(
            open=len(fold.open_shots()), slips=f", {standing} slips unsettled" if standing else "",
            cure=proposed_cure(fold).words if act == "cure" else "",
        )  # fmt: skip
        asked, self._asked = self._asked, None
        if asked is not None and asked[:2] == (act, question) and time.monotonic() - asked[2] < _ANSWER_WITHIN_S:
            return True
        self._asked = (act, question, time.monotonic())
        self._view.say(f"{question} {key} again within {_ANSWER_WITHIN_S:.0f} s: yes")
        return False
