"""Find decoders, transports and profiles through entry points.

A third party adds one by declaring an entry point; nothing here changes. Providers are loaded on use, and two
providers of one name are an error that names both: neither may silently stand in for the other.

Groups: ``axledger.decoders`` (a ``DecoderFactory``), ``axledger.transports`` (a class that builds a ``Transport``),
``axledger.profiles`` (an importable package or module whose folder holds ``NAME.toml`` files).
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, cast

from axledger.contract.decoder import Decoder, DecoderFactory
from axledger.contract.errors import BadFile, BadInput, UnknownName
from axledger.contract.profile import Profile, parse_profile
from axledger.contract.transport import Transport

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

__all__ = ["decoder_for", "load_profile", "profile_names", "profile_text", "transport_class"]

_SUFFIX = ".toml"


@dataclass(frozen=True, slots=True)
class _Source:
    """A profile file and who provides it, in words."""

    file: Traversable
    provider: str


def decoder_for(profile: Profile) -> Decoder:
    """Return a fresh decoder for ``profile``; raise ``UnknownName`` or, where its provider fails, ``BadInput``."""
    return cast(DecoderFactory, _load("decoder", "axledger.decoders", profile.decoder))(profile)


def transport_class(name: str) -> Callable[..., Transport]:
    """Return the class registered as transport ``name``; raise ``UnknownName`` or ``BadInput``."""
    return cast(Callable[..., Transport], _load("transport", "axledger.transports", name))


def profile_names(extra_folders: Sequence[Path] = ()) -> tuple[str, ...]:
    """Return the names of all profiles, sorted; ``extra_folders`` are searched beside the registered ones."""
    return tuple(sorted(_profile_sources(extra_folders)))


def profile_text(name: str, extra_folders: Sequence[Path] = ()) -> str:
    """Return the text of profile ``name`` with line ends as LF; raise ``UnknownName`` or ``BadFile``."""
    return _text(_source(name, extra_folders))


def load_profile(name: str, extra_folders: Sequence[Path] = ()) -> Profile:
    """Return profile ``name``; raise ``UnknownName``, or ``BadFile`` naming every fault with its line."""
    source = _source(name, extra_folders)
    text = _text(source)
    profile = parse_profile(text, path=str(source.file))
    if profile.name != name:
        lines = enumerate(text.splitlines(), start=1)
        line = next((number for number, words in lines if words.replace(" ", "").startswith("name=")), 0)
        fault = f"the profile is called {profile.name!r} and its file {name}{_SUFFIX}"
        raise BadFile(str(source.file), [(line, fault)], allowed="one name for both", do="rename one of them")
    return profile


def _load(kind: str, group: str, name: str) -> object:
    known = _entry_points(kind, group)
    if name not in known:
        raise UnknownName(kind, name, sorted(known))
    return _resolve(kind, known[name])


def _resolve(kind: str, entry: EntryPoint) -> object:
    """Import what ``entry`` names; a plug-in may fail in any way, and its user must learn which one it was."""
    try:
        return entry.load()
    except Exception as error:
        raise BadInput(
            f"the {kind} {entry.name!r} cannot be loaded",
            found=f"{type(error).__name__}: {error}",
            allowed="a provider that imports without error",
            do=f"mend or remove {_provider(entry)}",
        ) from error


def _entry_points(kind: str, group: str) -> Mapping[str, EntryPoint]:
    from importlib.metadata import entry_points  # noqa: PLC0415 - slow to import, and not needed to start

    found: dict[str, EntryPoint] = {}
    for entry in entry_points(group=group):
        if entry.name in found:
            raise _two_providers(kind, entry.name, _provider(found[entry.name]), _provider(entry))
        found[entry.name] = entry
    return found


def _provider(entry: EntryPoint) -> str:
    return f"{entry.value} of {entry.dist.name if entry.dist else 'an unnamed distribution'}"


def _two_providers(kind: str, name: str, first: str, second: str) -> BadInput:
    return BadInput(
        f"two providers of the {kind} {name!r}",
        found=f"{first}; {second}",
        allowed=f"one provider of each {kind} name",
        do="remove or rename one of the two",
    )


def _source(name: str, extra_folders: Sequence[Path]) -> _Source:
    sources = _profile_sources(extra_folders)
    if name not in sources:
        raise UnknownName("profile", name, sorted(sources))
    return sources[name]


def _profile_sources(extra_folders: Sequence[Path]) -> dict[str, _Source]:
    entries = _entry_points("profile folder", "axledger.profiles").values()
    folders = [(_folder(entry), _provider(entry)) for entry in entries]
    folders += [(_existing(folder), f"folder {folder}") for folder in dict.fromkeys(extra_folders)]
    found: dict[str, _Source] = {}
    for folder, provider in folders:
        for file in folder.iterdir():
            if not file.name.endswith(_SUFFIX):
                continue
            name = file.name.removesuffix(_SUFFIX)
            if name in found:
                raise _two_providers("profile", name, found[name].provider, provider)
            found[name] = _Source(file, provider)
    return found


def _existing(folder: Path) -> Path:
    if folder.is_dir():
        return folder
    raise BadInput(
        "a folder of profiles is missing",
        found=str(folder),
        allowed="a folder that exists",
        do="make it, or leave it out",
    )


def _folder(entry: EntryPoint) -> Traversable:
    from importlib.resources import files  # noqa: PLC0415 - slow to import, and not needed to start

    module = _resolve("profile folder", entry)
    name = str(getattr(module, "__name__", entry.value))
    if hasattr(module, "__path__"):
        return files(name)
    return Path(str(importlib.import_module(name).__file__)).parent


def _text(source: _Source) -> str:
    try:
        return source.file.read_text(encoding="utf-8").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        faults = [(0, f"not UTF-8: {error.reason}")]
        raise BadFile(str(source.file), faults, allowed="UTF-8 text", do="save the file as UTF-8") from error
    except OSError as error:
        faults = [(0, error.strerror or str(error))]
        raise BadFile(str(source.file), faults, allowed="a readable file", do="check its rights") from error
