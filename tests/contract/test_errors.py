from __future__ import annotations

import pytest

from axledger.contract import errors
from axledger.contract.errors import (
    AxledgerError,
    BadFile,
    BadInput,
    DeviceCause,
    DeviceTrouble,
    Refused,
    StorageCause,
    StorageTrouble,
    UnknownName,
)

FOUR = {"found": "43.18 m", "allowed": "0.05 m to 60 m", "do": "take it again"}
RAISED: list[tuple[AxledgerError, int, type[Exception]]] = [
    (AxledgerError("it went wrong", **FOUR), 2, Exception),
    (BadInput("a value cannot be used", **FOUR), 2, ValueError),
    (BadFile("own.toml", [(3, "no such key"), (0, "not UTF-8")], allowed="TOML", do="mend it"), 2, ValueError),
    (UnknownName("profile", "metre", ["metre-line", "typed"]), 2, LookupError),
    (UnknownName("profile", "metre", [], do="add one"), 2, LookupError),
    (Refused("the job is not finished", **FOUR), 2, Exception),
    (DeviceTrouble("the port is gone", cause=DeviceCause.LOST, **FOUR, kept="40 readings"), 3, OSError),
    (StorageTrouble("the disk is full", cause=StorageCause.FULL, **FOUR, kept="40 readings"), 3, OSError),
]


@pytest.mark.parametrize(("error", "exit_code", "builtin"), RAISED, ids=lambda value: type(value).__name__)
def test_every_class_says_its_parts(error: AxledgerError, exit_code: int, builtin: type[Exception]) -> None:
    with pytest.raises(builtin) as caught:
        raise error
    assert caught.value is error
    assert error.exit_code == exit_code
    labels = [label for label, _ in error.parts()]
    assert labels == ["what", "found", "allowed", "do", *(["kept"] if error.kept else [])]
    for label, text in error.parts():
        assert f"{label}: {text}" in str(error)


def test_no_class_was_left_out() -> None:
    public = {value for name in errors.__all__ if isinstance(value := getattr(errors, name), type)}
    assert {kind for kind in public if issubclass(kind, AxledgerError)} == {type(error) for error, _, _ in RAISED}


def test_bad_file_gathers_every_fault_with_its_line() -> None:
    error = BadFile("own.toml", [(3, "no such key"), (0, "not UTF-8")], allowed="TOML", do="mend it")
    assert error.found == "line 3: no such key; not UTF-8"
    assert error.faults == ((3, "no such key"), (0, "not UTF-8"))


def test_unknown_name_lists_what_there_is() -> None:
    assert UnknownName("profile", "metre", ["metre-line", "typed"]).allowed == "metre-line, typed"
    assert "none" in UnknownName("profile", "metre", []).allowed


def test_cause_is_an_enum_to_branch_on() -> None:
    assert DeviceTrouble("x", cause=DeviceCause.BUSY, **FOUR).cause is DeviceCause.BUSY
    assert StorageTrouble("x", cause=StorageCause.HELD, **FOUR).cause is StorageCause.HELD
