from __future__ import annotations

from typing import Any

import pytest

from axledger.job.digest import checkpoint_body, digests


def test_frames_and_board_have_a_fingerprint_each(bay: Any) -> None:
    start = digests(bay.fold)
    bay.send(b"ERR255\r\n", after_s=10)
    noise = digests(bay.fold)
    assert noise["frames"] != start["frames"]
    assert noise["board"] == start["board"]
    bay.act("skip")
    skipped = digests(bay.fold)
    assert skipped["frames"] == noise["frames"]
    assert skipped["board"] != noise["board"]


@pytest.mark.parametrize(
    ("act", "more"),
    [
        ("skip", {}), ("blocked", {}), ("go", {"shot": "K>T1Rh"}), ("turned", {"shot": "T1Lh>K"}),
        ("not-turned", {"shot": "T1Lh>K"}), ("round", {}), ("tick", {"items": ["chocks"]}), ("retake", {}),
        ("aside", {"reading": 1}), ("undo", {}),
    ],
)  # fmt: skip
def test_whatever_changes_what_comes_next_changes_the_board(bay: Any, act: str, more: dict[str, Any]) -> None:
    bay.shoot()
    before = digests(bay.fold)["board"]
    bay.act(act, **more)
    assert digests(bay.fold)["board"] != before


def test_every_detail_of_an_outcome_counts(bay: Any) -> None:
    lines = (b"+0.50\r\n", b"+0.51\r\n", b"OVER\r\n", b"Y=+01.000\r\n", b"noise\r\n")
    seen = {digests(bay.fold)["frames"]}
    for line in lines:
        bay.send(line, "inclinometer", after_s=10)
        seen.add(digests(bay.fold)["frames"])
    assert len(seen) == len(lines) + 1


def test_a_checkpoint_says_what_was_understood(bay: Any) -> None:
    body = checkpoint_body(bay.fold, bay.clock.now())
    assert body["digests"] == digests(bay.fold)
    assert (body["kind"], body["job"], body["mono"]) == ("checkpoint", bay.job, str(bay.clock.now().mono_ns))
