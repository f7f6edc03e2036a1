"""Addresses: which transport carries a link.

=================== ============ ======================================
address             transport    stands for
=================== ============ ======================================
``COM3``, ``/dev/…`` ``serial``  a port name or a link to one
``socket://h:p``    ``socket``   a network serial server
``gatt:ADDRESS``    ``gatt``     a Bluetooth LE device
``typed:``          ``typed``    a person or a keyboard-like device
``recorded:FILE``   ``recorded`` a stream recorded earlier
``NAME:…``          ``NAME``     what another package registered so
=================== ============ ======================================

Whether a transport ``NAME`` exists is the registry's matter.
"""

from __future__ import annotations

import re

from axledger.contract.errors import BadInput

__all__ = ["ends_for_good", "part_after", "transport_name_for"]

_FORMS = "a port name, socket://host:port, gatt:ADDRESS, typed:, recorded:FILE or NAME:... of a registered transport"
_PREFIX = re.compile(r"[a-z][a-z0-9-]+")  # two letters at least: a single one is a disk on Windows
_URL = re.compile(r"[a-z][a-z0-9+.-]+://", re.IGNORECASE)


def transport_name_for(address: str) -> str:
    """Return the transport's name for ``address``; raise ``BadInput`` where the form is unknown."""
    prefix, colon, rest = address.partition(":")
    if colon and _PREFIX.fullmatch(prefix) and not rest.startswith("//"):
        if not rest and prefix != "typed":
            raise _bad(address, f"nothing after {prefix}:")
        return prefix
    if address.startswith("socket://"):
        return "socket"
    if not address.strip():
        raise _bad(address, "an empty address")
    if _URL.match(address):
        raise _bad(address, repr(address))
    return "serial"


def part_after(prefix: str, address: str) -> str:
    """Return what follows ``prefix:``; raise ``BadInput`` where ``address`` does not begin with it."""
    head, colon, rest = address.partition(":")
    if not colon or head != prefix:
        raise _bad(address, repr(address))
    return rest


def ends_for_good(address: str) -> bool:
    """Tell whether the link's end is the end: a recorded stream played again would count its readings twice."""
    return transport_name_for(address) in ("typed", "recorded")


def _bad(address: str, found: str) -> BadInput:
    return BadInput(
        f"{address!r} is no address of a device",
        found=found,
        allowed=_FORMS,
        do="run `axledger ports` and use an address it lists",
    )
