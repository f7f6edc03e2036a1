"""The command line: parse, run one command, turn errors into words and an exit code.

Start-up stays cheap: only the standard library is imported here; each command imports what it needs.
Exit codes: 0 done; 1 the question asked has the answer no; 2 bad use or bad input; 3 device or storage trouble.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module

from axledger import __version__

__all__ = ["main"]

_COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "run a whole job with simulated devices and a simulated vehicle"),
    "ports": ("ports", "list what is plugged in or advertising, with the profile that fits"),
    "enrol": ("enrol", "register a device as an instrument"),
    "listen": ("listen", "take live readings from an instrument into the ledger"),
    "profiles": ("shelves", "list, show or check device profiles"),
    "layouts": ("shelves", "list, show or check vehicle layouts"),
    "limits": ("shelves", "list, show or check limit sheets"),
    "job": ("job", "open, run, show or close a job"),
    "report": ("report", "write the sheet of a job as one HTML file"),
    "verify": ("verify", "prove the ledger unchanged"),
    "replay": ("replay", "recompute every job from raw bytes and compare"),
    "sim": ("sim", "offer simulated devices to another process"),
}


def _parser(wanted: str | None) -> argparse.ArgumentParser:
    """Build the parser; only the wanted command's own options are read in, which keeps ``--help`` quick."""
    parser = argparse.ArgumentParser(
        prog="axledger",
        description="Axle and wheel geometry of trucks and trailers, from device bytes to verdicts.",
        epilog="AXLEDGER_HOME names the data folder. Every command that prints data takes --json.",
    )
    parser.add_argument("--version", action="version", version=f"axledger {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, (module, words) in _COMMANDS.items():
        command = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".")
        if name == wanted:
            import_module(f"axledger.cli.{module}").options(command)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    wanted = next((word for word in given if not word.startswith("-")), None)
    try:
        parsed = _parser(wanted).parse_args(given)
    except SystemExit as leaving:  # argparse has printed its own words
        return leaving.code if isinstance(leaving.code, int) else 2
    return _guarded(parsed)


def _guarded(parsed: argparse.Namespace) -> int:
    from axledger.contract.errors import AxledgerError

    try:
        module = import_module(f"axledger.cli.{_COMMANDS[parsed.command][0]}")
        return int(module.run(parsed))
    except AxledgerError as error:
        print(f"axledger {parsed.command}: error\n{error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("\nstopped; everything that arrived is in the ledger", file=sys.stderr)
        return 130
    except BrokenPipeError:  # the reader of our output has gone, as with `| head`
        sys.stderr.close()
        return 0
    except Exception as error:
        return _unforeseen(error)


def _unforeseen(error: Exception) -> int:
    import os
    import traceback

    if os.environ.get("AXLEDGER_TRACEBACK"):
        traceback.print_exc()
    where = traceback.extract_tb(error.__traceback__)[-1]
    print(
        f"axledger: error\n    what: something this program did not foresee\n   found: {type(error).__name__}: {error}"
        f" ({os.path.basename(where.filename)}, line {where.lineno})\n"
        " allowed: -\n      do: report it with the output of the same command under AXLEDGER_TRACEBACK=1\n"
        "    kept: everything that arrived is in the ledger",
        file=sys.stderr,
    )
    return 3
