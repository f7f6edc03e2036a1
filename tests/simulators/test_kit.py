from __future__ import annotations

import os
from pathlib import Path

import pytest

from axledger.contract.errors import DeviceCause, DeviceTrouble
from axledger.contract.quantity import Quantity
from axledger_simulators.kit import Kit, default_carrier, inclinometer_record, meter_record
from axledger_simulators.meter import DistanceMeter
from axledger_simulators.peers.tcp_port import TcpPort

pytestmark = pytest.mark.usefixtures("threads_end")


def test_instruments_are_recorded_under_the_address_they_are_offered_at(tmp_path: Path) -> None:
    kit = Kit.build(3, "socket", tmp_path, meter=DistanceMeter(3, form="millimetre-quality"))
    try:
        records = kit.instruments("-b")
        assert records["meter"].address == kit.meter_peer.address != kit.inclinometer_peer.address
        assert records["inclinometer"].address == kit.inclinometer_peer.address
        assert (records["meter"].name, records["meter"].profile) == ("sim-meter-b", "millimetre-quality")
        assert records["meter"].quantities[Quantity.LENGTH].resolution == 0.001
        assert all(record.note == record.serial == "simulated" for record in records.values())
    finally:
        kit.close()


def test_a_port_that_cannot_be_had_is_told_and_the_other_one_is_let_go(tmp_path: Path) -> None:
    other = TcpPort()
    port = int(other.address.rsplit(":", 1)[1])
    try:
        with pytest.raises(DeviceTrouble) as caught:
            Kit.build(1, "socket", tmp_path, first_port=port - 1)
        assert caught.value.cause is DeviceCause.BUSY
        assert f"port {port} cannot be offered" in str(caught.value)
        TcpPort(port=port - 1).close()  # free again
    finally:
        other.close()


def test_records_carry_what_a_kit_of_this_kind_is_known_to_do() -> None:
    length = meter_record("m", "COM3").quantities[Quantity.LENGTH]
    assert (length.repeatability, length.u_zero) == (0.0007, 0.001)
    tilt = inclinometer_record("t", "COM4").quantities[Quantity.INCLINATION]
    assert tilt.repeatability == pytest.approx(3.490658503988659e-4, rel=1e-12)  # 0.02 * pi / 180, by hand


def test_the_carrier_is_one_this_system_has() -> None:
    assert default_carrier() == ("pty" if os.name == "posix" else "socket")


if os.name == "posix":

    def test_terminals_appear_as_links_in_the_folder(tmp_path: Path) -> None:
        kit = Kit.build(1, "pty", tmp_path)
        try:
            assert {path.name for path in tmp_path.iterdir()} == {"meter", "inclinometer"}
            assert kit.meter_peer.address == str(tmp_path / "meter")
        finally:
            kit.close()
        assert list(tmp_path.iterdir()) == []

    def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
        with pytest.raises(DeviceTrouble, match="meter cannot be offered"):
            Kit.build(1, "pty", tmp_path / "none")
