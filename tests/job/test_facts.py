from __future__ import annotations

import hashlib
import json

from axledger.contract.transport import Stamp
from axledger.job import facts
from axledger.job.layout import Layout
from axledger.job.library import load_layout, load_limit_sheet
from axledger.job.limits import LimitSheet

STAMP = Stamp(2**60 + 1, 2**61 + 3)


def test_layouts_and_limits_go_through_the_ledger_unchanged() -> None:
    for name in ("tractor-6x4", "semitrailer-1axle"):
        layout = load_layout(name)
        record = facts.layout_record(layout)
        assert Layout.model_validate(json.loads(json.dumps(record["layout"]))) == layout
        plain = json.dumps(record["layout"], sort_keys=True, separators=(",", ":")).encode()
        assert record["digest"] == hashlib.sha256(plain).hexdigest()
    sheet = load_limit_sheet("example-fleet")
    assert LimitSheet.model_validate(json.loads(json.dumps(facts.limits_record(sheet)["limits"]))) == sheet


def test_moments_are_text_because_they_outgrow_a_double() -> None:
    body = facts.arrival("l", 1, b"\x00\xff", STAMP, job="j", channel="c", sent=True)
    assert body == {
        "kind": "arrival", "link": "l", "n": 1, "dir": "out", "hex": "00ff", "mono": str(2**60 + 1),
        "utc": str(2**61 + 3), "job": "j", "channel": "c",
    }  # fmt: skip
    assert "job" not in facts.arrival("l", 1, b"", STAMP, job=None)
    assert facts.arrival("l", 1, b"", STAMP, job=None)["dir"] == "in"


def test_a_link_entry_leaves_out_what_is_not_known() -> None:
    assert set(facts.link("l", "lost", STAMP, job=None)) == {"kind", "link", "event", "mono", "utc"}
    body = facts.link("l", "opened", STAMP, job="j", role="meter", identity={"serial": "1"}, why="x")
    assert (body["identity"], body["why"], body["role"], body["job"]) == ({"serial": "1"}, "x", "meter", "j")


def test_an_act_names_who_and_where() -> None:
    body = facts.act("j", "skip", STAMP, person="Ada", device="terminal", shot="K>T1Lh")
    assert (body["act"], body["person"], body["device"], body["shot"]) == ("skip", "Ada", "terminal", "K>T1Lh")


def test_a_profile_is_recorded_by_its_text() -> None:
    record = facts.profile_record("name = 'x'\n")
    assert record == {
        "kind": "profile", "text": "name = 'x'\n", "digest": hashlib.sha256(b"name = 'x'\n").hexdigest()
    }  # fmt: skip
