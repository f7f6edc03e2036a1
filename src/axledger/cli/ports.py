"""``axledger ports``: what is plugged in or advertising, with the profile that fits."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from axledger.cli.folder import add_json, own_folder, print_json

if TYPE_CHECKING:
    from axledger.contract.profile import Profile


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("--in", dest="folders", metavar="DIR", action="append", default=[],
                        help="also look for ports here, as `axledger sim --ports DIR` makes them")  # fmt: skip
    parser.add_argument("--radio", metavar="SECONDS", type=float, default=5.0,
                        help="how long to listen for Bluetooth devices (0: not at all; default 5)")  # fmt: skip
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """List what can be reached."""
    from axledger_drivers.registry import load_profile, profile_names
    from axledger_drivers.transports.discovery import list_candidates

    own = own_folder("profiles")
    extra = [own] if own is not None else []
    profiles = [load_profile(name, extra) for name in profile_names(extra)]
    listing = list_candidates(profiles, extra_paths=[Path(folder) for folder in parsed.folders], radio_s=parsed.radio)
    if parsed.json:
        print_json({"candidates": [asdict(found) for found in listing.candidates], "notes": list(listing.notes)})
        return 0
    for found in listing.candidates:
        signal = f"  {found.signal_dbm} dBm" if found.signal_dbm is not None else ""
        fits = f"fits {', '.join(found.profiles)}" if found.profiles else _unknown(profiles, found.signal_dbm is None)
        print(f"{found.address}  {found.title or '(says nothing of itself)'}{signal}\n    {fits}")
    if not listing.candidates:
        print("nothing found; plug a device in, switch it on, or try `axledger demo` without any hardware")
    for note in listing.notes:
        print(f"note: {note}")
    return 0


def _unknown(profiles: Sequence[Profile], wired: bool) -> str:
    """Say which profiles may still fit: a plain serial port does not tell what hangs on it."""
    carrier = "serial" if wired else "gatt"
    names = ", ".join(profile.name for profile in profiles if carrier in profile.transports)
    return f"may be any of: {names}\n    try one: `axledger listen --address ADDRESS --profile PROFILE`"
