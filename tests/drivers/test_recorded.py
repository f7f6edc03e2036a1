from __future__ import annotations

import queue
import threading
from pathlib import Path

import pytest

from axledger.contract.errors import BadFile, DeviceTrouble
from axledger.contract.profile import Profile
from axledger.contract.transport import Arrived, Lost, Stamp
from axledger_drivers.transports.recorded import RecordedChunk, RecordedTransport, parse_recorded
from axledger_simulators.peers.listener import Listener

pytestmark = pytest.mark.usefixtures("threads_end")

STREAM = """\
{"t": 0, "hex": "342E33"}
{"t": 0.1, "op": "shot", "station": "A1"}

{"t": 0.700000001, "hex": "31386d0d0a", "char": "a0000001-0000-4000-8000-000000000002"}
"""


class FixedClock:
    def now(self) -> Stamp:
        return Stamp(1_000, 5_000)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = tmp_path / "stream.jsonl"
    file.write_text(STREAM, encoding="utf-8")
    return file


def test_times_are_exact_and_shots_are_left_out() -> None:
    assert parse_recorded(STREAM, path="x") == (
        RecordedChunk(at_ns=0, data=b"4.3"),
        RecordedChunk(at_ns=700_000_001, data=b"18m\r\n", channel="a0000001-0000-4000-8000-000000000002"),
    )


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("{", "Expecting property name"),
        ("[1]", "not a JSON object"),
        ('{"t": 1}', "hex and char"),
        ('{"t": 1, "hex": 12}', "hex and char"),
        ('{"t": 1, "hex": "4"}', "not pairs"),
        ('{"t": 1, "hex": ""}', "empty"),
        ('{"t": "1", "hex": "41"}', "t has to be"),
        ('{"t": true, "hex": "41"}', "t has to be"),
        ('{"t": -1, "hex": "41"}', "t has to be"),
        ('{"t": NaN, "hex": "41"}', "not a number"),
        ('{"t": 1, "hex": "41", "char": 3}', "hex and char"),
        ('{"t": 1, "hex": "41", "colour": "x"}', "unknown field colour"),
        ('{"t": 1, "op": "dance"}', "op 'dance'"),
        ('{"t": 0.5, "hex": "41"}', "goes back"),
    ],
)
def test_a_malformed_line_is_named_with_its_number(line: str, words: str) -> None:
    with pytest.raises(BadFile) as caught:
        parse_recorded(f'{{"t": 0.6, "hex": "41"}}\n\n{line}\n', path="x.jsonl")
    ((number, text),) = caught.value.faults
    assert number == 3
    assert words in text


def test_all_faults_are_gathered() -> None:
    with pytest.raises(BadFile) as caught:
        parse_recorded('{"t": 1}\n{"t": 2, "hex": "41"}\nx\n', path="x.jsonl")
    assert [number for number, _ in caught.value.faults] == [1, 3]


def test_the_stream_plays_at_once_with_its_own_times(file: Path, profile: Profile, listener: Listener) -> None:
    link = RecordedTransport(f"recorded:{file}", profile, FixedClock())
    assert link.open(listener) == {"address": f"recorded:{file}"}
    first, second, end = listener.next(Arrived), listener.next(Arrived), listener.next(Lost)
    assert (first.stamp, first.data, first.channel) == (Stamp(1_000, 5_000), b"4.3", "")
    assert (second.stamp, second.data) == (Stamp(700_001_001, 700_005_001), b"18m\r\n")
    assert second.channel.startswith("a0000001")
    assert (end.stamp, end.why) == (second.stamp, "the recorded stream ended")
    link.close()
    link.close()


def test_a_paced_stream_waits_between_chunks(file: Path, profile: Profile, listener: Listener) -> None:
    waits: list[float] = []

    def wait(stop: threading.Event, seconds: float) -> bool:
        waits.append(seconds)
        return stop.is_set()

    link = RecordedTransport(f"recorded:{file}", profile, FixedClock(), paced=True, wait=wait)
    link.open(listener)
    assert listener.data(8) == b"4.318m\r\n"
    listener.next(Lost)
    link.close()
    assert waits == [0.0, 0.700000001]


def test_a_paced_stream_can_be_stopped_in_between(tmp_path: Path, profile: Profile, listener: Listener) -> None:
    file = tmp_path / "long.jsonl"
    file.write_text('{"t": 0, "hex": "41"}\n{"t": 3600, "hex": "42"}\n', encoding="utf-8")
    link = RecordedTransport(f"recorded:{file}", profile, FixedClock(), paced=True)
    link.open(listener)
    assert listener.next(Arrived).data == b"A"
    link.close()
    assert not link.reader_alive()
    with pytest.raises(queue.Empty):
        listener.next(Lost, timeout_s=0)


def test_a_missing_file_and_a_wrong_one(tmp_path: Path, profile: Profile, listener: Listener) -> None:
    with pytest.raises(DeviceTrouble):
        RecordedTransport(f"recorded:{tmp_path}/none", profile, FixedClock()).open(listener)
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadFile):
        RecordedTransport(f"recorded:{tmp_path}/binary", profile, FixedClock()).open(listener)


def test_a_recording_takes_no_commands(file: Path, profile: Profile) -> None:
    with pytest.raises(DeviceTrouble):
        RecordedTransport(f"recorded:{file}", profile, FixedClock()).write(b"D")
