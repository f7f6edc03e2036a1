from __future__ import annotations

import pytest

from axledger.contract.transport import Lost, Stamp, Transport
from axledger_simulators.peers.listener import Listener
from axledger_simulators.peers.puppet import Puppet


def test_a_puppet_says_what_it_is_told() -> None:
    puppet, listener = Puppet(), Listener()
    link: Transport = puppet
    assert link.open(listener) == {"address": "COM3"}
    puppet.say(Lost(Stamp(0, 0), "gone"))
    assert listener.next(Lost).why == "gone"
    link.write(b"D")
    link.close()
    assert puppet.written == [b"D"]
    assert puppet.closed.is_set()
    assert puppet.reader_alive()


def test_a_puppet_may_refuse_to_open() -> None:
    with pytest.raises(OSError, match="busy"):
        Puppet(OSError("busy")).open(Listener())


def test_nothing_is_said_before_opening(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("axledger_simulators.peers.puppet._OPENED_S", 0)
    with pytest.raises(TimeoutError):
        Puppet().say(Lost(Stamp(0, 0), "gone"))
