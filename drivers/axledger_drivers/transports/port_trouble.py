"""What went wrong with a serial port or a network serial server, in words.

Errors come from three places that do not agree on a form: the port library's own exception (with or without an
error number), the exception it was made from, and plain operating system errors.
"""

from __future__ import annotations

import errno
import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

from axledger.contract.errors import DeviceCause, DeviceTrouble

__all__ = ["cause_of", "group_sentence", "port_lost", "port_trouble"]

_CAUSES: dict[int, DeviceCause] = {
    errno.ENOENT: DeviceCause.ABSENT,
    errno.ENXIO: DeviceCause.ABSENT,
    errno.ENODEV: DeviceCause.ABSENT,
    errno.EHOSTDOWN: DeviceCause.ABSENT,
    errno.EHOSTUNREACH: DeviceCause.ABSENT,
    errno.ENETUNREACH: DeviceCause.ABSENT,
    errno.ETIMEDOUT: DeviceCause.ABSENT,
    errno.EBUSY: DeviceCause.BUSY,
    errno.EAGAIN: DeviceCause.BUSY,
    errno.EWOULDBLOCK: DeviceCause.BUSY,
    errno.EACCES: DeviceCause.DENIED,
    errno.EPERM: DeviceCause.DENIED,
    errno.ECONNREFUSED: DeviceCause.REFUSED,
}

# On Windows the library puts the system's error into the text only. "Access is denied" there means that
# somebody else holds the port, as ports have no owners.
_WINDOWS_TEXTS = (("PermissionError(13", DeviceCause.BUSY), ("FileNotFoundError(2", DeviceCause.ABSENT))


def _chain(error: BaseException) -> Iterator[BaseException]:
    """Yield the error and what it was made from."""
    here: BaseException | None = error
    while here is not None:
        yield here
        here = here.__cause__ or here.__context__


def cause_of(error: BaseException) -> DeviceCause:
    """Return why a port could not be used, as far as ``error`` tells."""
    for link in _chain(error):
        if isinstance(link, TimeoutError | socket.gaierror):  # no answer, or no computer of that name
            return DeviceCause.ABSENT
        if isinstance(link, OSError) and link.errno in _CAUSES:
            return _CAUSES[link.errno]
    return next((cause for text, cause in _WINDOWS_TEXTS if text in str(error)), DeviceCause.OTHER)


def group_sentence(port: str) -> str:
    """Return one sentence on how to get the right to open ``port``, naming the group of its file (POSIX)."""
    if sys.platform == "win32":
        return "close the program that holds the port, then try again"
    import grp  # noqa: PLC0415  # exists on POSIX only

    try:
        gid = Path(port).stat().st_gid
        entry = grp.getgrgid(gid)
    except (OSError, KeyError):
        return "ask for the right to open this port, log out and in again, then try again"
    if gid in os.getgroups():
        return f"this account is in the group {entry.gr_name} already; ask who changed the rights of the port"
    account = os.environ.get("LOGNAME", os.environ.get("USER", ""))
    if account in entry.gr_mem:
        return f"this account is in the group {entry.gr_name}, but not yet in this session; log out and in again"
    return f"have this account added to the group {entry.gr_name}, then log out and in again"


def port_trouble(address: str, error: BaseException) -> DeviceTrouble:
    """Return the trouble of opening ``address`` in four parts."""
    cause = cause_of(error)
    what, allowed, do = _words(address, cause)
    return DeviceTrouble(what, cause=cause, found=str(error), allowed=allowed, do=do)


def _words(address: str, cause: DeviceCause) -> tuple[str, str, str]:
    if cause is DeviceCause.ABSENT:
        return (
            f"{address} is not there",
            "a port of this computer, or a server in reach, with the device switched on",
            "plug the device in or switch it on, then run `axledger ports`",
        )
    if cause is DeviceCause.BUSY:
        return (
            f"{address}: port already in use",
            "one reader a port",
            "close the other program, or the other axledger, that holds this port; it is tried again by itself",
        )
    if cause is DeviceCause.DENIED:
        return (
            f"{address} may not be opened by this account",
            "an account with the right to open it",
            group_sentence(address),
        )
    if cause is DeviceCause.REFUSED:
        return (
            f"{address}: the computer answers, but nothing listens there",
            "a serial server that listens on this port number",
            "start the serial server, or mend the port number",
        )
    return f"{address} cannot be opened", "a serial port or a serial server", "run `axledger ports` and compare"


def port_lost(address: str, error: BaseException | None = None) -> DeviceTrouble:
    """Return the trouble of bytes that cannot leave because the link is down."""
    return DeviceTrouble(
        f"nothing can be sent to {address}",
        cause=DeviceCause.LOST,
        found=str(error) if error else "the link is down",
        allowed="a link that is up",
        do="wait until the link is up again, then repeat the command",
        kept="everything received before is kept",
    )
