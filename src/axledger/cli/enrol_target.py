"""The part of ``axledger enrol`` that knows targets: half-turn pairs become a bias with its uncertainty."""

from __future__ import annotations

import argparse
from typing import Any

from axledger.cli.folder import data_folder, person_of, print_json

__all__ = ["enrol_target_from"]


def enrol_target_from(parsed: argparse.Namespace) -> int:
    """Enrol a target from its pairs, or list the targets where none is named."""
    from axledger.job.settings import MountKind

    kind = MountKind(parsed.target)
    if parsed.name is None:
        return _list(kind, as_json=parsed.json)
    from axledger.contract.errors import BadInput
    from axledger.contract.transport import SystemClock
    from axledger.job.target_history import enrol_target, enrolment_of
    from axledger.ledger import Ledger

    if parsed.pairs is None:
        raise BadInput(
            f"{parsed.name} cannot be enrolled yet", found="no --pairs", allowed='such as --pairs "3412.3/3412.9 ..."',
            do="stand the meter ahead of the target, read it mark up and turned half a turn, five times, seated afresh",
        )  # fmt: skip
    enrolment = enrolment_of(parsed.name, kind, _pairs(parsed.pairs), side=parsed.side or "")
    with Ledger.open(data_folder()) as ledger:
        seq = enrol_target(ledger, enrolment, person=person_of(parsed), stamp=SystemClock().now())
    if parsed.json:
        print_json({"seq": seq, **_told(enrolment)})
    else:
        print(f"{enrolment.mark} enrolled (entry {seq}): {_words(enrolment)}")
    return 0


def _pairs(text: str) -> list[tuple[float, float]]:
    from axledger.contract.errors import BadInput

    pairs: list[tuple[float, float]] = []
    for word in text.replace(";", " ").split():
        before, slash, after = word.partition("/")
        try:
            pairs.append((float(before.replace(",", ".")), float(after.replace(",", "."))))
        except ValueError as error:
            raise BadInput(
                f"{word} is no pair", found=word if slash else f"{word}, without a slash",
                allowed="two readings in mm, before and after the half turn: 3412.3/3412.9", do="write it so",
            ) from error  # fmt: skip
    return pairs


def _list(kind: Any, *, as_json: bool) -> int:
    from axledger.job.target_history import targets_in
    from axledger.ledger import Ledger

    with Ledger.read(data_folder()) as ledger:
        known = [one for one in targets_in(ledger).values() if one.kind is kind]
    if as_json:
        print_json([_told(one) for one in known])
        return 0
    for one in known:
        print(f"{one.mark}: {_words(one)}")
    return 0


def _told(one: Any) -> dict[str, Any]:
    return {
        "mark": one.mark, "target": one.kind.value, "side": one.side, "bias_mm": one.bias_mm, "u_mm": one.u_mm,
        "seat_sd_mm": one.seat_sd_mm, "pairs": [list(pair) for pair in one.pairs],
    }  # fmt: skip


def _words(one: Any) -> str:
    side = {"L": "left", "R": "right"}[one.side]
    return (
        f"{one.kind.value} target, bias {one.bias_mm:+.2f} mm forward on the {side} (u {one.u_mm:.2f}), "
        f"seats to {one.seat_sd_mm:.2f} mm, {len(one.pairs)} pairs"
    )
