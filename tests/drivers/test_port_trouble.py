from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

import pytest
import serial

from axledger.contract.errors import DeviceCause
from axledger_drivers.transports.port_trouble import cause_of, group_sentence, port_lost, port_trouble


@pytest.mark.parametrize(
    ("error", "cause"),
    [
        (OSError(errno.ENOENT, "x"), DeviceCause.ABSENT),
        (OSError(errno.EHOSTDOWN, "x"), DeviceCause.ABSENT),
        (TimeoutError("timed out"), DeviceCause.ABSENT),
        (OSError(errno.EBUSY, "x"), DeviceCause.BUSY),
        (serial.SerialException(errno.EAGAIN, "could not lock"), DeviceCause.BUSY),
        (OSError(errno.EACCES, "x"), DeviceCause.DENIED),
        (OSError(errno.ECONNREFUSED, "x"), DeviceCause.REFUSED),
        (ValueError("bad baud"), DeviceCause.OTHER),
        # The form of the texts: from memory of the port library on Windows.
        (
            serial.SerialException("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"),
            "busy",
        ),
        (serial.SerialException("could not open port 'COM10': FileNotFoundError(2, 'x', None, 2)"), "absent"),
    ],
)
def test_causes(error: Exception, cause: DeviceCause | str) -> None:
    assert cause_of(error) is DeviceCause(cause)


def test_the_cause_is_found_behind_the_library_error() -> None:
    with pytest.raises(serial.SerialException) as caught:  # noqa: PT012  # as the library does it
        try:
            raise ConnectionRefusedError(errno.ECONNREFUSED, "refused")
        except OSError as inner:
            raise serial.SerialException(f"Could not open port: {inner}")  # noqa: B904
    assert cause_of(caught.value) is DeviceCause.REFUSED


@pytest.mark.parametrize("number", [errno.ENOENT, errno.EBUSY, errno.EACCES, errno.ECONNREFUSED, errno.EIO])
def test_every_cause_has_four_parts_that_differ(number: int) -> None:
    parts = dict(port_trouble("COM3", OSError(number, os.strerror(number))).parts())
    assert set(parts) == {"what", "found", "allowed", "do"}
    assert "COM3" in parts["what"]
    assert len(set(parts.values())) == 4


def test_a_denied_port_names_the_group_of_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert sys.platform != "win32"
    import grp

    port = tmp_path / "port"
    port.touch()
    group = grp.getgrgid(port.stat().st_gid)
    monkeypatch.setattr(os, "getgroups", list)
    monkeypatch.setenv("LOGNAME", "nobody-in-any-group")
    assert group_sentence(str(port)) == (
        f"have this account added to the group {group.gr_name}, then log out and in again"
    )


def test_a_member_in_an_old_session_is_told_to_log_in_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert sys.platform != "win32"
    import grp

    port = tmp_path / "port"
    port.touch()
    gid = port.stat().st_gid
    entry = grp.struct_group(("meters", "x", gid, ["anna"]))
    monkeypatch.setattr(grp, "getgrgid", {gid: entry}.__getitem__)
    monkeypatch.setattr(os, "getgroups", list)
    monkeypatch.setenv("LOGNAME", "anna")
    assert "not yet in this session" in group_sentence(str(port))
    monkeypatch.setattr(os, "getgroups", lambda: [gid])
    assert "already" in group_sentence(str(port))


def test_a_port_without_a_file_has_a_sentence_too() -> None:
    assert "log out and in" in group_sentence("/nowhere/at/all")


def test_a_lost_port_says_what_is_kept() -> None:
    assert port_lost("COM3").kept
    assert port_lost("COM3", OSError(5, "gone")).found == "[Errno 5] gone"
