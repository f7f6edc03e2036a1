"""A fingerprint of what a job's entries were understood as, so that replay can be compared with the live run."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from axledger.contract.frame import DeviceFault, Echo, Measured, Outcome, Status
from axledger.contract.transport import Stamp

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["checkpoint_body", "digests"]


def digests(fold: JobFold) -> dict[str, str]:
    """Return SHA-256 over all frames (raw bytes, outcome, use) and over the board, hex."""
    frames = [
        [heard.link, heard.frame.raw.hex(), str(heard.frame.at_ns), _outcome(heard.frame.outcome), heard.use]
        for heard in fold.heard
    ]
    board = fold.board
    placed = {
        "round": board.round,
        "places": [[number, _place(fold, number)] for number in sorted(board.places)],
        "closed": sorted([*key, why] for key, why in board.closed.items()),
        "turns": dict(sorted(board.turns.items())),
        "turned": sorted([*key, how] for key, how in board.turned.items()),
        "ticks": dict(sorted(board.ticks.items())),
        "blocked": sorted(board.blocked),
        "added": sorted(board.added),
        "focus": board.focus,
        "open": [shot.id for shot in fold.open_shots()],
    }
    return {"frames": _sha256(frames), "board": _sha256(placed)}


def _outcome(outcome: Outcome) -> list[Any]:
    """Spell an outcome out field by field: a later version's extra field must not look like a difference."""
    if isinstance(outcome, Measured):
        values = [[value.quantity.value, repr(value.si), value.text, value.unit] for value in outcome.values]
        quality = None if outcome.quality is None else [repr(outcome.quality.figure), outcome.quality.direction.value]
        return ["measured", values, quality, outcome.counter, outcome.held]
    if isinstance(outcome, DeviceFault):
        return ["fault", outcome.code]
    if isinstance(outcome, Status):
        return ["status", outcome.kind.value]
    return ["echo" if isinstance(outcome, Echo) else "unreadable"]


def _place(fold: JobFold, number: int) -> list[Any]:
    place = fold.board.places[number]
    return [place.state, place.why, place.round, place.shot, dict(sorted(place.turns.items()))]


def _sha256(data: object) -> str:
    return hashlib.sha256(json.dumps(data, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def checkpoint_body(fold: JobFold, stamp: Stamp) -> Mapping[str, Any]:
    """Return the entry that ends a run: what the live fold understood up to here."""
    return {
        "kind": "checkpoint",
        "job": fold.job,
        "digests": digests(fold),
        "mono": str(stamp.mono_ns),
        "utc": str(stamp.utc_ns),
    }
