"""TOML files checked by pydantic models, with every fault named by its line.

``tomllib`` gives no positions, so the lines of keys are found by a scanner of table headers and keys; a value
inside an inline table or a multi-line array is reported at the line of the key that holds it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from pydantic import BaseModel, ValidationError

from axledger.contract.errors import BadFile

if TYPE_CHECKING:  # slow to import, and only a name here
    from importlib.resources.abc import Traversable

__all__ = ["line_of", "load_toml", "parse_toml", "read_toml"]

M = TypeVar("M", bound=BaseModel)
Path_ = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\"'-]+)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_\"'-]+(?:\s*\.\s*[A-Za-z0-9_\"'-]+)*)\s*=")
_TOML_LINE = re.compile(r"\(at line (\d+), column \d+\)|\(at end of document\)")


def _names(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _positions(text: str) -> Iterator[tuple[Path_, int]]:
    """Yield the path of every table header and key with its line number, arrays of tables counted."""
    counts: dict[Path_, int] = {}
    here: Path_ = ()
    quoted = False
    for number, line in enumerate(text.splitlines(), start=1):
        if not quoted:
            if header := _HEADER.match(line):
                array = header[1] == "[["
                here = _table_path(_names(header[2]), counts, array=array)
                if array:
                    yield here[:-1], number  # a fault of the whole array is shown at its last table
                yield here, number
            elif key := _KEY.match(line):
                yield (*here, *_names(key[1])), number
        if (line.count('"""') + line.count("'''")) % 2:
            quoted = not quoted


def _table_path(names: tuple[str, ...], counts: dict[Path_, int], *, array: bool) -> Path_:
    path: Path_ = ()
    for depth, name in enumerate(names):
        path = (*path, name)
        if array and depth == len(names) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def line_of(text: str, *path: str | int) -> int:
    """Return the line of a key or table of valid TOML text (``"limit", 0, "key"``); 0 where it is not there."""
    return _line_of(path, dict(_positions(text)))


def _line_of(loc: Path_, positions: dict[Path_, int]) -> int:
    """Return the line of the deepest known part of ``loc``; 0 where nothing is known.

    A part of ``loc`` may be the tag of a union, which the file does not have and which may even be the name of a key
    there; so every part is tried both ways, and of equally deep places the one that uses the later parts is taken.
    """
    known = {path[:length] for path in positions for length in range(len(path) + 1)}
    places: list[Path_] = [()]
    for part in loc:
        places += [(*place, part) for place in places if (*place, part) in known]
    deepest = max(reversed(places), key=len)
    return next((line for length in range(len(deepest), 0, -1) if (line := positions.get(deepest[:length]))), 0)


def _is_echo(loc: Path_, kind: str, error: ValidationError) -> bool:
    """Return whether an array is called too short only because its items had faults of their own."""
    return kind == "too_short" and any(
        fault["loc"][: len(loc)] == loc and len(fault["loc"]) > len(loc) for fault in error.errors()
    )


def parse_toml(text: str, model: type[M], *, path: str, do: str) -> M:
    """Parse and check ``text``; raise ``BadFile`` naming every fault with its line.

    ``path`` names the source in the error, ``do`` tells the reader what to do about it.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = _TOML_LINE.search(str(error))
        line = int(found[1]) if found and found[1] else len(text.splitlines())
        words = _TOML_LINE.sub("", str(error)).strip()
        raise BadFile(path, [(line, f"not TOML: {words}")], allowed="TOML 1.0", do=do) from error
    try:
        return model.model_validate(data)
    except ValidationError as error:
        positions = dict(_positions(text))
        faults = [
            (_line_of(fault["loc"], positions), f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}")
            for fault in error.errors()
            if not _is_echo(fault["loc"], fault["type"], error)
        ]
        raise BadFile(path, sorted(faults), allowed=f"the fields of {model.__name__}", do=do) from error


def read_toml(file: Traversable, *, path: str, do: str) -> str:
    """Return the text of ``file``; raise ``BadFile`` where it cannot be read or is not UTF-8."""
    try:
        return file.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise BadFile(path, [(0, f"not UTF-8: {error.reason}")], allowed="UTF-8 text", do=do) from error
    except OSError as error:
        raise BadFile(path, [(0, error.strerror or str(error))], allowed="a readable file", do=do) from error


def load_toml(file: Path, model: type[M], *, do: str) -> M:
    """Read ``file`` and check it; raise ``BadFile`` also where it cannot be read or is not UTF-8."""
    return parse_toml(read_toml(file, path=str(file), do=do), model, path=str(file), do=do)
