"""The error tree.

``AxledgerError`` (exit code 2 or 3)
├── ``BadInput``            2  a file, argument or value that cannot be used
│   ├── ``BadFile``         2  a profile, layout or limit sheet; gathers every fault with its line
│   └── ``UnknownName``     2  a name nobody provides; lists the known ones
├── ``Refused``             2  a valid act at the wrong moment (closing an unfinished job, say)
├── ``DeviceTrouble``       3  a port or radio that is absent, busy, denied, lost or silent
└── ``StorageTrouble``      3  a data folder or ledger that is read-only, full, held, newer or damaged

Each carries four parts: what happened, what was found, what is allowed, what to do, and, where
something could have been lost, what was kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import ClassVar

__all__ = [
    "AxledgerError",
    "BadFile",
    "BadInput",
    "DeviceCause",
    "DeviceTrouble",
    "Refused",
    "StorageCause",
    "StorageTrouble",
    "UnknownName",
]


class AxledgerError(Exception):
    """Base of every error a user may see.

    Attributes: ``what`` happened, what was ``found``, what is ``allowed``, what to ``do``, what was
    ``kept`` (empty where nothing was at stake). ``exit_code`` is what the command ends with.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, what: str, *, found: str, allowed: str, do: str, kept: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.found = found
        self.allowed = allowed
        self.do = do
        self.kept = kept

    def parts(self) -> tuple[tuple[str, str], ...]:
        """Return the labelled parts in reading order, empty ones left out."""
        named = (
            ("what", self.what),
            ("found", self.found),
            ("allowed", self.allowed),
            ("do", self.do),
            ("kept", self.kept),
        )
        return tuple((label, text) for label, text in named if text)

    def __str__(self) -> str:
        return "\n".join(f"{label:>8}: {text}" for label, text in self.parts())


class BadInput(AxledgerError, ValueError):
    """A value, argument or file content that cannot be used."""


class BadFile(BadInput):
    """A file with one or more faults; ``faults`` holds ``(line, text)``, line 0 where unknown."""

    def __init__(self, path: str, faults: Sequence[tuple[int, str]], *, allowed: str, do: str) -> None:
        self.path = path
        self.faults = tuple(faults)
        listed = "; ".join(f"line {line}: {text}" if line else text for line, text in self.faults)
        super().__init__(f"{path} cannot be used", found=listed, allowed=allowed, do=do)


class UnknownName(BadInput, LookupError):
    """A name that nobody provides; ``known`` lists what there is."""

    def __init__(self, kind: str, name: str, known: Sequence[str], *, do: str = "") -> None:
        self.name = name
        self.known = tuple(known)
        super().__init__(
            f"no {kind} is called {name!r}",
            found=repr(name),
            allowed=", ".join(known) if known else f"none; there is no {kind} yet",
            do=do or f"choose one of the known {kind} names",
        )


class Refused(AxledgerError):
    """An act that is valid in itself and not possible now."""


class DeviceCause(Enum):
    """Why a device cannot be reached, as far as the system tells."""

    ABSENT = "absent"
    BUSY = "busy"
    DENIED = "denied"
    REFUSED = "refused"
    LOST = "lost"
    SILENT = "silent"
    NO_RADIO = "no radio"
    OTHER = "other"


class DeviceTrouble(AxledgerError, OSError):
    """A port or a radio link that cannot be used; ``cause`` tells which kind."""

    exit_code = 3

    def __init__(self, what: str, *, cause: DeviceCause, found: str, allowed: str, do: str, kept: str = "") -> None:
        self.cause = cause
        super().__init__(what, found=found, allowed=allowed, do=do, kept=kept)


class StorageCause(Enum):
    """Why the data folder cannot be used."""

    READ_ONLY = "read-only"
    FULL = "full"
    HELD = "held by another process"
    NEWER = "newer schema"
    DAMAGED = "damaged"
    ABSENT = "absent"
    OTHER = "other"


class StorageTrouble(AxledgerError, OSError):
    """The ledger or its folder cannot be used; ``cause`` tells which kind."""

    exit_code = 3

    def __init__(self, what: str, *, cause: StorageCause, found: str, allowed: str, do: str, kept: str = "") -> None:
        self.cause = cause
        super().__init__(what, found=found, allowed=allowed, do=do, kept=kept)
