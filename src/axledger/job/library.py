"""The library: shipped and own layouts and limit sheets, by name or by file.

A name is the stem of a file. Own files stand in a folder the caller names (``extra``) and win over shipped ones
of the same name. A ``Path``, or a text ending in ``.toml``, is taken as a file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from axledger.contract.errors import BadFile, UnknownName
from axledger.contract.toml_file import line_of, read_toml
from axledger.job.layout import Layout, clash_of, parse_layout
from axledger.job.limits import LimitSheet, parse_limit_sheet

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

__all__ = ["layout_names", "layout_text", "limit_sheet_names", "load_layout", "load_limit_sheet"]

Shelf = Literal["layouts", "limit_sheets"]
_KIND: Mapping[Shelf, str] = {"layouts": "layout", "limit_sheets": "limit sheet"}
_DO = "mend the file or name another"


def layout_names(extra: Path | None = None) -> tuple[str, ...]:
    """Return the names of all layouts, shipped and in the folder ``extra``, sorted."""
    return tuple(sorted(_named("layouts", extra)))


def limit_sheet_names(extra: Path | None = None) -> tuple[str, ...]:
    """Return the names of all limit sheets, shipped and in the folder ``extra``, sorted."""
    return tuple(sorted(_named("limit_sheets", extra)))


def load_layout(name_or_file: str | Path, extra: Path | None = None) -> Layout:
    """Return a layout with its units; a combination is resolved into the units of the layouts it names.

    What a combination in a file names is also looked for beside that file. Raises ``UnknownName`` with the known
    names, and ``BadFile`` naming every fault with its line.
    """
    text, path = _text("layouts", name_or_file, extra)
    layout = parse_layout(text, path=path)
    if not layout.combine:
        return layout
    beside = Path(name_or_file).parent if _is_file(name_or_file) else None
    return _resolved(layout, {**_named("layouts", beside), **_named("layouts", extra)}, path, line_of(text, "combine"))


def layout_text(name_or_file: str | Path, extra: Path | None = None) -> str:
    """Return the text of a layout's file, in which the lines of faults are counted; raises like ``load_layout``."""
    return _text("layouts", name_or_file, extra)[0]


def load_limit_sheet(name_or_file: str | Path, extra: Path | None = None) -> LimitSheet:
    """Return a limit sheet; raise ``UnknownName`` or ``BadFile`` like ``load_layout``."""
    text, path = _text("limit_sheets", name_or_file, extra)
    return parse_limit_sheet(text, path=path)


def _named(shelf: Shelf, extra: Path | None) -> dict[str, Traversable]:
    from importlib.resources import files  # noqa: PLC0415 - slow to import, and not needed to start

    shipped = (entry for entry in (files("axledger.job") / shelf).iterdir() if entry.name.endswith(".toml"))
    own: Iterator[Path] = extra.glob("*.toml") if extra is not None else iter(())
    return {entry.name.removesuffix(".toml"): entry for entry in (*shipped, *own)}


def _is_file(name_or_file: str | Path) -> bool:
    return isinstance(name_or_file, Path) or name_or_file.endswith(".toml")


def _text(shelf: Shelf, name_or_file: str | Path, extra: Path | None) -> tuple[str, str]:
    """Return the text and the words that name it in an error: a path, or the name of what is shipped."""
    if _is_file(name_or_file):
        return read_toml(Path(name_or_file), path=str(name_or_file), do=_DO), str(name_or_file)
    named = _named(shelf, extra)
    if (entry := named.get(str(name_or_file))) is None:
        raise UnknownName(_KIND[shelf], str(name_or_file), sorted(named))
    return read_toml(entry, path=str(entry), do=_DO), str(entry)


def _resolved(combination: Layout, named: Mapping[str, Traversable], path: str, line: int) -> Layout:
    """Return ``combination`` with the units of the layouts it names; ``line`` is where it names them."""
    allowed = f"layouts with units, out of: {', '.join(sorted(named))}"
    if unknown := [name for name in combination.combine if name not in named]:
        faults = [(line, f"no layout is called {name!r}") for name in unknown]
        raise BadFile(path, faults, allowed=allowed, do=_DO)
    parts = [
        parse_layout(read_toml(named[name], path=str(named[name]), do=_DO), path=str(named[name]))
        for name in combination.combine
    ]
    if nested := [part.name for part in parts if part.combine]:
        faults = [(line, f"{name} is itself a combination") for name in nested]
        raise BadFile(path, faults, allowed=allowed, do=_DO)
    units = tuple(unit for part in parts for unit in part.unit)
    if clash := clash_of(units):
        raise BadFile(path, [(line, clash)], allowed="units and stations of different names", do=_DO)
    return combination.model_copy(update={"unit": units, "combine": ()})
