"""``axledger sim``: simulated devices that another process connects to, worked by a simulated technician."""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from typing import Any

from axledger.cli.folder import add_json, data_folder, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--ports", metavar="DIR", help="offer pseudo-terminals: DIR/meter and DIR/inclinometer")
    where.add_argument("--socket", metavar="PORT", type=int, nargs="?", const=0,
                       help="offer socket:// ports: PORT and PORT+1 (default: any two free ones)")  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="which simulated vehicle, kit and noise (default 1)")
    parser.add_argument("--job", metavar="JOB", help="the job to work on (default: the newest one in the data folder)")
    parser.add_argument("--between", metavar="SECONDS", type=float, default=2.0, help="pace: seconds per shot")
    parser.add_argument("--slips", type=float, default=0.0, help="how often the technician misses a target")
    parser.add_argument("--enrol", action="store_true", help="enrol both devices first (sim-meter, sim-inclinometer)")
    parser.add_argument("--no-technician", action="store_true", help="offer the devices only; Enter takes a shot")
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Offer the devices until the plan is done or Ctrl-C is pressed."""
    from axledger_simulators.kit import Kit, default_carrier

    _check(parsed)
    with tempfile.TemporaryDirectory(prefix="axledger-ports-") as temporary:
        folder = Path(parsed.ports) if parsed.ports else Path(temporary)
        _make(folder)
        carrier = "socket" if parsed.socket is not None else "pty" if parsed.ports else default_carrier()
        kit = Kit.build(parsed.seed, carrier, folder, first_port=parsed.socket or 0)
        try:
            return _offer(parsed, kit)
        except KeyboardInterrupt:
            return 0
        finally:
            kit.close()


def _check(parsed: argparse.Namespace) -> None:
    from axledger.contract.errors import BadInput

    port = parsed.socket or 0
    if parsed.seed < 0 or parsed.between < 0 or not 0.0 <= parsed.slips <= 0.5 or not 0 <= port < 65535:
        raise BadInput(
            "the simulation cannot run so",
            found=f"seed {parsed.seed}, between {parsed.between:g}, slips {parsed.slips:g}, socket {port}",
            allowed="a seed from 0, seconds from 0, slips from 0 to 0.5, a port from 0 to 65534",
            do="choose other figures",
        )


def _make(folder: Path) -> None:
    from axledger.contract.errors import BadInput

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            f"{folder} cannot hold the ports", found=error.strerror or str(error), allowed="a folder of your own",
            do="name another with --ports",
        ) from error  # fmt: skip


def _offer(parsed: argparse.Namespace, kit: Any) -> int:
    if parsed.enrol:
        _enrol(kit)
    offered = {role: instrument.address for role, instrument in kit.instruments().items()}
    if parsed.json:
        print_json(offered)
    else:
        for role, address in offered.items():
            print(f"{role}: {address}", flush=True)
        if not parsed.enrol:
            print("enrol them with `axledger sim --enrol`, or by hand with `axledger enrol`", flush=True)
    shots = _by_hand(kit) if parsed.no_technician else _technician(parsed, kit)
    if parsed.json:
        print_json({"shots": shots})
    else:
        print(f"{shots} shots taken", flush=True)
    return 0


def _enrol(kit: Any) -> None:
    from axledger.contract.transport import SystemClock
    from axledger.job.opening import enrol
    from axledger.ledger import Ledger

    with Ledger.open(data_folder()) as ledger:
        for instrument in kit.instruments().values():
            enrol(ledger, instrument, person="simulation", stamp=SystemClock().now())


def _technician(parsed: argparse.Namespace, kit: Any) -> int:
    from axledger_simulators.offered import Following, follow

    following = Following(
        folder=data_folder(), job=parsed.job, kit=kit, seed=parsed.seed, between_s=parsed.between,
        slip_rate=parsed.slips, say=(lambda _words: None) if parsed.json else (lambda words: print(words, flush=True)),
    )  # fmt: skip
    shots = follow(following, lambda: True)
    time.sleep(0.5)  # the last bytes are on their way; a port that closes at once would take them along
    return shots


def _by_hand(kit: Any) -> int:
    """Send a length near 4318 mm at each Enter, an inclination for a line that holds ``t``."""
    import sys

    shots = 0
    for line in sys.stdin:
        shots += 1
        if "t" in line:
            kit.inclinometer_peer.send(kit.inclinometer.shoot(0.022))
        else:
            kit.meter_peer.send(kit.meter.shoot(4.318))
    return shots
