from __future__ import annotations

from axledger_simulators.fault_script import FaultScript

_LINE = b"4.318m\r\n"


def _arrivals(faults: FaultScript, shots: int) -> list[bytes]:
    return [faults.on_the_wire(_LINE, shot, flip_at=2) for shot in range(1, shots + 1)]


def test_nothing_happens_by_itself() -> None:
    assert _arrivals(FaultScript(), 3) == [_LINE] * 3


def test_each_fault_falls_on_every_nth_shot() -> None:
    assert _arrivals(FaultScript(drop=2), 4) == [_LINE, b"", _LINE, b""]
    assert _arrivals(FaultScript(duplicate=3), 3) == [_LINE, _LINE, _LINE + _LINE]
    # computed by hand: the byte "3" is 0x33, its lowest bit turned is 0x32, "2"
    assert _arrivals(FaultScript(corrupt=1), 1) == [b"4.218m\r\n"]
