"""Turn entry bodies into canonical JSON (RFC 8785) and back, and name what cannot be written."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from typing import Any, NoReturn, TypeAlias, cast

import rfc8785

from axledger.contract.errors import BadInput

__all__ = ["DEEPEST", "Json", "JsonValue", "canonical", "encode", "parse"]

JsonValue: TypeAlias = "bool | int | float | str | list[JsonValue] | dict[str, JsonValue] | None"
Json: TypeAlias = JsonValue

# RFC 8785 section 3.2.2.3 writes numbers as IEEE 754 doubles; beyond this an integer loses digits.
_SAFE_INTEGER = 2**53 - 1
# Own choice: far above any body we write, far below the recursion limit of any reader.
DEEPEST = 64


def canonical(body: Mapping[str, JsonValue], *, path: str = "body") -> bytes:
    """Return the canonical UTF-8 bytes of ``body``.

    ``path`` is how an error calls the body. Raises ``BadInput`` naming the place of a value that
    canonical JSON cannot hold: not a number, infinite, an integer beyond 2^53 - 1, a lone surrogate,
    a key that is no text, a foreign type, nesting deeper than ``DEEPEST``. Source: RFC 8785 (2020).
    """
    return encode(body, path=path)[0].encode("utf-8")


def encode(body: Mapping[str, JsonValue], *, path: str) -> tuple[str, dict[str, JsonValue]]:
    """Return the canonical text of ``body`` and what it reads as; raises ``BadInput``.

    See ``canonical``.
    """
    plain = dict(body)
    return _encode_simple(plain) or _encode_any(plain, path)


def _encode_simple(plain: dict[str, JsonValue]) -> tuple[str, dict[str, JsonValue]] | None:
    """Encode a body of ASCII text, integers, lists and objects; None for any other.

    For these the standard library writes what RFC 8785 asks for: the same separators and escapes, and
    keys in the same order. Reading back tells whether ``plain`` was one of them: a fraction is refused
    there, a key of another type comes back as text and compares unequal. Most bodies are simple, and
    this takes a quarter of the time of the general way, which keeps a lone append close to the speed
    of the disk.
    """
    try:
        text = _ENCODER.encode(plain)
        stored, _ = _SIMPLE_DECODER.raw_decode(text)
    except (TypeError, ValueError, RecursionError):
        return None
    if not text.isascii() or stored != plain or text.count("[") + text.count("{") > DEEPEST:
        return None
    return text, stored


def _encode_any(plain: dict[str, JsonValue], path: str) -> tuple[str, dict[str, JsonValue]]:
    try:
        text = rfc8785.dumps(cast("Any", plain)).decode("utf-8")
    except (ValueError, RecursionError) as error:
        raise _refusal(plain, path) from error
    # Counting brackets is nearly free and never too low, so the walk runs only where it could matter.
    if text.count("[") + text.count("{") > DEEPEST and _depth(plain) > DEEPEST:
        raise _refusal(plain, path)
    return text, cast("dict[str, JsonValue]", parse(text))


def parse(text: str) -> JsonValue:
    """Return the value of canonical JSON; raises ``ValueError`` where ``text`` is not JSON.

    Integers beyond 2^53 - 1 come back as floats: canonical JSON writes the float 1e17 without an
    exponent, and reading it as an integer would make it a value that can never be written again.
    """
    try:
        return cast("JsonValue", _DECODER.decode(text))
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


def _integer(digits: str) -> int | float:
    if len(digits) < 16:
        return int(digits)
    value = float(digits)
    return value if abs(value) > _SAFE_INTEGER else int(digits)


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not JSON")


def _small_integer(digits: str) -> int:
    if len(digits) < 16:
        return int(digits)
    raise ValueError("left to the general way")


_ENCODER = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), check_circular=False)
_DECODER = json.JSONDecoder(parse_int=_integer, parse_constant=_no_constant)
_SIMPLE_DECODER = json.JSONDecoder(parse_int=_small_integer, parse_float=_no_constant, parse_constant=_no_constant)


def _refusal(plain: object, path: str) -> BadInput:
    place, why = next(_faults(plain, path, 1), (path, "it has no canonical form"))
    return BadInput(
        "an entry cannot be written as canonical JSON",
        found=f"{place}: {why}",
        allowed="null, true, false, text in valid Unicode, finite numbers, integers up to 2^53 - 1, "
        f"lists and text-keyed objects, at most {DEEPEST} deep",
        do="write large counters and exact decimals as text, raw bytes as hex",
        kept="nothing of this burst was written; earlier entries are untouched",
    )


def _faults(value: object, path: str, depth: int) -> Iterator[tuple[str, str]]:
    if isinstance(value, (dict, list, tuple)):
        yield from _container_faults(cast("dict[object, object] | list[object]", value), path, depth)
    elif (why := _scalar_fault(value)) is not None:
        yield path, why


def _container_faults(value: dict[object, object] | list[object], path: str, depth: int) -> Iterator[tuple[str, str]]:
    if depth > DEEPEST:
        yield path, f"nested deeper than {DEEPEST}"
        return
    if not isinstance(value, dict):
        for index, item in enumerate(value):
            yield from _faults(item, f"{path}[{index}]", depth + 1)
        return
    for key, item in value.items():
        if not isinstance(key, str):
            yield path, f"the key {key!r} is no text"
        elif not _is_unicode(key):
            yield path, f"the key {key!a} holds a lone surrogate"
        else:
            yield from _faults(item, f"{path}.{key}", depth + 1)


def _scalar_fault(value: object) -> str | None:
    if value is None or isinstance(value, bool):
        return None
    if isinstance(value, str):
        return None if _is_unicode(value) else f"{value!a} holds a lone surrogate"
    if isinstance(value, int):
        return None if abs(value) <= _SAFE_INTEGER else "an integer beyond 2^53 - 1"
    if isinstance(value, float):
        return None if math.isfinite(value) else f"{value!r} is not a finite number"
    return f"a value of type {type(value).__name__}"


def _is_unicode(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _depth(value: object) -> int:
    if isinstance(value, dict):
        children = list(cast("dict[str, object]", value).values())
    elif isinstance(value, (list, tuple)):
        children = list(cast("list[object]", value))
    else:
        return 0
    return 1 + max(map(_depth, children), default=0)
