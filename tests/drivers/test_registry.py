from __future__ import annotations

import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from axledger.contract.errors import BadFile, BadInput, UnknownName
from axledger.contract.profile import Profile
from axledger_drivers.decoders.line import LineDecoder
from axledger_drivers.registry import decoder_for, load_profile, profile_names, profile_text, transport_class

SHIPPED = {"gatt-metre", "metre-line", "metre-tilt", "millimetre-quality", "polled-metre", "tilt-line", "typed"}


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on the path where a test can install distributions of its own."""
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    return tmp_path


def install(site: Path, name: str, entry_points: str) -> None:
    folder = site / f"{name}-1.0.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
    (folder / "entry_points.txt").write_text(entry_points, encoding="utf-8")


def a_profile(folder: Path, name: str, *, called: str | None = None) -> Path:
    folder.mkdir(exist_ok=True)
    text = profile_text("metre-line").replace('name = "metre-line"', f'name = "{called or name}"')
    file = folder / f"{name}.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_shipped_profiles_load() -> None:
    assert set(profile_names()) >= SHIPPED
    assert {load_profile(name).name for name in SHIPPED} == SHIPPED


def test_unknown_names_list_the_known_ones() -> None:
    with pytest.raises(UnknownName) as profile:
        load_profile("metre")
    assert set(profile.value.known) >= SHIPPED
    with pytest.raises(UnknownName) as transport:
        transport_class("carrier-pigeon")
    assert set(transport.value.known) >= {"serial", "socket", "gatt", "typed", "recorded"}
    strange = load_profile("metre-line").model_copy(update={"decoder": "strange"})
    with pytest.raises(UnknownName) as decoder:
        decoder_for(strange)
    assert decoder.value.known == ("line",)


def test_decoder_and_transport_are_found() -> None:
    assert isinstance(decoder_for(load_profile("metre-line")), LineDecoder)
    assert getattr(transport_class("recorded"), "__name__", "") == "RecordedTransport"


def test_third_party_decoder(site: Path) -> None:
    module = "from axledger_drivers.decoders.line import LineDecoder\n\n\nclass OtherDecoder(LineDecoder):\n    pass\n"
    (site / "their_decoder.py").write_text(module, encoding="utf-8")
    install(site, "theirs", "[axledger.decoders]\ntheirs = their_decoder:OtherDecoder\n")
    profile: Profile = load_profile("metre-line").model_copy(update={"decoder": "theirs"})
    assert type(decoder_for(profile)).__name__ == "OtherDecoder"


def test_two_providers_of_one_name_are_both_named(site: Path) -> None:
    install(site, "theirs", "[axledger.decoders]\nline = their_decoder:LineDecoder\n")
    with pytest.raises(BadInput, match="two providers of the decoder 'line'") as error:
        decoder_for(load_profile("metre-line"))
    assert "their_decoder:LineDecoder of theirs" in error.value.found
    assert "axledger_drivers.decoders.line:LineDecoder of axledger" in error.value.found


def test_a_provider_that_fails_is_named_and_others_still_work(site: Path) -> None:
    install(site, "theirs", "[axledger.decoders]\nbroken = no_such_module:Decoder\n")
    with pytest.raises(BadInput, match="'broken' cannot be loaded") as error:
        decoder_for(load_profile("metre-line").model_copy(update={"decoder": "broken"}))
    assert "ModuleNotFoundError" in error.value.found
    assert "theirs" in error.value.do
    assert isinstance(decoder_for(load_profile("metre-line")), LineDecoder)


@pytest.mark.parametrize("as_package", [True, False])
def test_third_party_profiles_beside_a_package_or_a_module(site: Path, as_package: bool) -> None:
    name = f"their_profiles_{'package' if as_package else 'module'}"
    folder = site / name if as_package else site
    a_profile(folder, "their-metre")
    (folder / ("__init__.py" if as_package else f"{name}.py")).write_text('"""Example."""\n', encoding="utf-8")
    install(site, "theirs", f"[axledger.profiles]\ntheirs = {name}\n")
    assert "their-metre" in profile_names()
    assert load_profile("their-metre").name == "their-metre"


def test_extra_folder(tmp_path: Path) -> None:
    a_profile(tmp_path, "own-metre")
    assert "own-metre" in profile_names([tmp_path])
    assert "own-metre" not in profile_names()
    assert load_profile("own-metre", [tmp_path, tmp_path]).name == "own-metre"
    with pytest.raises(BadInput, match="missing"):
        profile_names([tmp_path / "nowhere"])


def test_extra_folder_cannot_stand_in_for_a_shipped_profile(tmp_path: Path) -> None:
    a_profile(tmp_path, "metre-line")
    with pytest.raises(BadInput, match="two providers of the profile 'metre-line'") as error:
        load_profile("metre-line", [tmp_path])
    assert str(tmp_path) in error.value.found
    assert "axledger_drivers.profiles" in error.value.found


def test_file_and_profile_have_one_name(tmp_path: Path) -> None:
    file = a_profile(tmp_path, "own-metre", called="other-metre")
    line = next(n for n, text in enumerate(file.read_text("utf-8").splitlines(), 1) if text.startswith("name"))
    with pytest.raises(BadFile) as error:
        load_profile("own-metre", [tmp_path])
    [(found, words)] = error.value.faults
    assert found == line
    assert "other-metre" in words


def test_line_ends_do_not_change_the_text(tmp_path: Path) -> None:
    text = profile_text("metre-line").replace("metre-line", "own-metre")
    (tmp_path / "own-metre.toml").write_bytes(text.replace("\n", "\r\n").encode("utf-8"))
    assert profile_text("own-metre", [tmp_path]) == text


def test_unreadable_files(tmp_path: Path) -> None:
    (tmp_path / "own-metre.toml").write_bytes(b"\xff")
    with pytest.raises(BadFile, match="not UTF-8"):
        profile_text("own-metre", [tmp_path])
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(BadFile):
        profile_text("folder", [tmp_path])


def test_loading_a_profile_loads_no_transport() -> None:
    code = (
        "import sys; from axledger_drivers.registry import load_profile; load_profile('metre-line');"
        "sys.exit(bool({'serial', 'bleak', 'axledger_drivers.decoders.line'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_shipped_profiles_are_copied_as_they_are(tmp_path: Path) -> None:
    """A copy under a new name is how a user makes a profile of their own."""
    with_own_name = tmp_path / "gatt-copy.toml"
    shutil.copyfile(str(files("axledger_drivers.profiles") / "gatt-metre.toml"), with_own_name)
    text = with_own_name.read_text("utf-8").replace('name = "gatt-metre"', 'name = "gatt-copy"')
    with_own_name.write_text(text, encoding="utf-8")
    assert load_profile("gatt-copy", [tmp_path]).gatt == load_profile("gatt-metre").gatt
