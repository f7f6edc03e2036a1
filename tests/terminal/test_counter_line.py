from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from axledger.job.state import JobState
from axledger.terminal.counter_line import counter_line


def test_the_printed_parts_add_up_at_every_step(open_job: Any) -> None:
    job = open_job()
    steps = [
        job.shoot, lambda: job.send("meter", b"err 12\r\n"), lambda: job.send("meter", b"4.318m\r\n"),
        lambda: job.act("skip"), job.shoot, lambda: job.send("meter", b"\xff\xfe\r\n"),
        job.shoot, lambda: job.act("undo"), job.shoot, lambda: job.act("retake"),
    ]  # fmt: skip
    line = ""
    for step in steps:
        step()
        line = counter_line(job.state())
        received, parts = line.split(" = ")
        assert int(received.split()[1]) == sum(int(number) for number in re.findall(r"\d+", parts))
        assert "UNACCOUNTED" not in line
    assert "unassigned" in line
    assert "refused" in line


def test_a_sum_that_is_wrong_is_said_and_not_hidden(finished: JobState) -> None:
    wrong = {**finished.counts, "received": finished.counts["received"] + 2}
    assert counter_line(replace(finished, counts=wrong)).endswith("UNACCOUNTED 2")
