"""The states of a link and the steps between them, in one table.

``CLOSED``: nobody wants the link, or it ended for good. ``OPENING``: a transport is being opened.
``UP``: bytes may come. ``SILENT``: up by its own word, but unheard for longer than the profile allows.
``LOST``: it went down and is being let go. ``SEARCHING``: the device is looked for by its identity.
"""

from __future__ import annotations

from enum import Enum

__all__ = ["ALLOWED", "LinkState", "step"]


class LinkState(Enum):
    """What a link is doing."""

    CLOSED = "closed"
    OPENING = "opening"
    UP = "up"
    SILENT = "silent"
    LOST = "lost"
    SEARCHING = "searching"


ALLOWED: dict[LinkState, frozenset[LinkState]] = {
    LinkState.CLOSED: frozenset({LinkState.OPENING, LinkState.SEARCHING}),
    LinkState.OPENING: frozenset({LinkState.UP, LinkState.SEARCHING, LinkState.CLOSED}),
    LinkState.UP: frozenset({LinkState.LOST, LinkState.SILENT, LinkState.CLOSED}),
    LinkState.SILENT: frozenset({LinkState.SEARCHING, LinkState.CLOSED}),
    LinkState.LOST: frozenset({LinkState.SEARCHING, LinkState.CLOSED}),
    LinkState.SEARCHING: frozenset({LinkState.OPENING, LinkState.CLOSED}),
}


def step(now: LinkState, to: LinkState) -> LinkState:
    """Return ``to``; raise ``RuntimeError`` where the table has no such step, which is a fault of the program."""
    if to not in ALLOWED[now]:
        raise RuntimeError(f"a link cannot go from {now.value} to {to.value}")
    return to
