"""``axledger enrol``: register a device as an instrument, or a target by its half-turn pairs; or list what there is."""

from __future__ import annotations

import argparse
from typing import Any

from axledger.cli.folder import add_json, add_person, data_folder, own_folder, person_of, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="your name for the instrument (none: list them)")
    parser.add_argument("--profile", metavar="NAME", help="device profile, see `axledger profiles list`")
    parser.add_argument("--address", metavar="ADDRESS", help="port, socket://HOST:PORT or gatt:ADDRESS")
    parser.add_argument("--serial", default="", help="serial number on the label")
    parser.add_argument("--repeatability", metavar="LENGTH", help='sd of one length reading, such as "0.7 mm"')
    parser.add_argument("--resolution", metavar="LENGTH", help="display step (default: what the profile states)")
    parser.add_argument("--edge", metavar="EDGE", help="edge of the device it measures from (default: rear)")
    parser.add_argument("--zero", metavar="LENGTH", default="0 mm", help="added to a reading to correct it")
    parser.add_argument("--u-zero", metavar="LENGTH", default="1 mm", help="standard uncertainty of the zero")
    parser.add_argument("--scale-ppm", metavar="PPM", type=float, default=0.0, help="correction per reading, 1e-6")
    parser.add_argument("--u-scale-ppm", metavar="PPM", type=float, default=0.0, help="its standard uncertainty")
    parser.add_argument("--tilt-repeatability", metavar="ANGLE", help='sd of one inclination, such as "0.02 deg"')
    parser.add_argument("--tilt-resolution", metavar="ANGLE", help="display step (default: the profile's)")
    parser.add_argument("--tilt-zero", metavar="ANGLE", default="0 deg", help="added to an inclination")
    parser.add_argument("--u-tilt-zero", metavar="ANGLE", default="0.05 deg", help="its standard uncertainty")
    parser.add_argument("--last-check", metavar="DATE", help="date of the last good check, such as 2026-01-31")
    parser.add_argument("--state", choices=["in use", "quarantined", "retired"], default="in use")
    kinds = ["hub", "straightedge", "inboard", "rail"]
    parser.add_argument("--target", metavar="KIND", choices=kinds, help=f"NAME is a target's mark: {', '.join(kinds)}")
    parser.add_argument("--pairs", metavar="PAIRS", help='of a target: mm mark up/turned, "3412.3/3412.9 ...", five')
    parser.add_argument("--side", choices=["L", "R"], help="of a target: its side (default: last letter of its mark)")
    parser.add_argument("--note", default="", help="anything worth knowing")
    add_person(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    """Enrol an instrument or a target, or list them."""
    if parsed.target is not None:
        from axledger.cli.enrol_target import enrol_target_from

        return enrol_target_from(parsed)
    if parsed.name is None:
        return _list(as_json=parsed.json)
    from axledger.contract.errors import BadInput

    if not parsed.profile or not parsed.address:
        raise BadInput(
            f"{parsed.name} cannot be enrolled yet", found="no --profile or no --address", allowed="both",
            do="find them with `axledger profiles list` and `axledger ports`",
        )  # fmt: skip
    from axledger.contract.transport import SystemClock
    from axledger.job.opening import enrol
    from axledger.ledger import Ledger

    instrument = _instrument(parsed)
    with Ledger.open(data_folder()) as ledger:
        enrolled = enrol(ledger, instrument, person=person_of(parsed), stamp=SystemClock().now())
    if parsed.json:
        print_json({"seq": enrolled.seq, "instrument": instrument.model_dump(mode="json")})
    else:
        print(f"{instrument.name} enrolled (entry {enrolled.seq}): {_words(instrument)}")
    return 0


def _list(*, as_json: bool) -> int:
    from axledger.job.opening import instruments_in
    from axledger.ledger import Ledger

    with Ledger.read(data_folder()) as ledger:
        known = instruments_in(ledger)
    if as_json:
        print_json([enrolled.instrument.model_dump(mode="json") for enrolled in known.values()])
        return 0
    for name, enrolled in known.items():
        print(f"{name}: {_words(enrolled.instrument)}")
    return 0


def _words(instrument: Any) -> str:
    measures = ", ".join(quantity.value for quantity in instrument.quantities)
    checked = f"last check {instrument.last_check}" if instrument.last_check else "never checked"
    return f"{measures} by {instrument.profile} at {instrument.address}; {instrument.state}; {checked}"


def _instrument(parsed: argparse.Namespace) -> Any:
    from pydantic import ValidationError

    from axledger.contract.errors import BadInput
    from axledger.contract.instrument import Instrument
    from axledger.contract.quantity import Quantity
    from axledger_drivers.registry import load_profile
    from axledger_drivers.transports.address import transport_name_for

    own = own_folder("profiles")
    profile = load_profile(parsed.profile, [own] if own is not None else [])
    carrier = transport_name_for(parsed.address)
    if carrier not in profile.transports:
        raise BadInput(
            f"profile {profile.name} cannot be used at {parsed.address}", found=carrier,
            allowed=", ".join(profile.transports), do="choose another profile or address",
        )  # fmt: skip
    try:
        quantities: dict[Quantity, Any] = {}
        if Quantity.LENGTH in profile.quantities():
            quantities[Quantity.LENGTH] = _length(parsed, profile)
        if Quantity.INCLINATION in profile.quantities():
            quantities[Quantity.INCLINATION] = _inclination(parsed, profile)
        return Instrument(
            name=parsed.name,
            serial=parsed.serial,
            profile=profile.name,
            address=parsed.address,
            quantities=quantities,
            edge=_edge(parsed, profile),
            last_check=_date(parsed.last_check),
            state=parsed.state,
            note=parsed.note,
        )
    except ValidationError as error:
        fault = error.errors()[0]
        raise BadInput(
            f"{parsed.name} cannot be enrolled", found=f"{'.'.join(map(str, fault['loc']))}: {fault['input']!r}",
            allowed=str(fault["msg"]), do="mend it and enrol again",
        ) from error  # fmt: skip


def _edge(parsed: argparse.Namespace, profile: Any) -> str:
    from axledger.contract.errors import UnknownName

    if parsed.edge is not None and parsed.edge not in profile.edge_offset_m:
        raise UnknownName(
            "edge", parsed.edge, sorted(profile.edge_offset_m), do="state it in the profile: edge_offset_m"
        )
    return parsed.edge or ""


def _date(text: str | None) -> str | None:
    if text is None:
        return None
    from datetime import date

    from axledger.contract.errors import BadInput

    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise BadInput("--last-check is not a date", found=text, allowed="YYYY-MM-DD", do="write it so") from error


def _needed(text: str | None, option: str, example: str) -> str:
    from axledger.contract.errors import BadInput

    if text is None:
        raise BadInput(
            f"how well the instrument repeats is not stated: {option}", found="nothing",
            allowed=f'a standard deviation with its unit, such as "{example}"',
            do="take ten readings of one mark and enter their standard deviation, or the maker's figure divided by 2",
        )  # fmt: skip
    return text


def _length(parsed: argparse.Namespace, profile: Any) -> Any:
    from axledger.contract.instrument import QuantityRecord
    from axledger.contract.number_text import parse_length
    from axledger.contract.quantity import Quantity

    stated = profile.resolution.get(Quantity.LENGTH)
    resolution = parse_length(parsed.resolution).si if parsed.resolution else float(stated or 0)
    return QuantityRecord(
        repeatability=parse_length(_needed(parsed.repeatability, "--repeatability", "0.7 mm")).si,
        resolution=resolution,
        # the rear edge rests on the mark: a device that counts from another edge reads short by that edge's offset
        zero=parse_length(parsed.zero).si + profile.edge_offset_m.get(parsed.edge or "", 0.0),
        u_zero=parse_length(parsed.u_zero).si,
        scale=parsed.scale_ppm / 1e6,
        u_scale=parsed.u_scale_ppm / 1e6,
    )


def _inclination(parsed: argparse.Namespace, profile: Any) -> Any:
    import math

    from axledger.contract.instrument import QuantityRecord
    from axledger.contract.number_text import parse_angle
    from axledger.contract.quantity import Quantity

    stated = profile.resolution.get(Quantity.INCLINATION)
    given = parse_angle(parsed.tilt_resolution).si if parsed.tilt_resolution else math.radians(float(stated or 0))
    return QuantityRecord(
        repeatability=parse_angle(_needed(parsed.tilt_repeatability, "--tilt-repeatability", "0.02 deg")).si,
        resolution=given,
        zero=parse_angle(parsed.tilt_zero).si,
        u_zero=parse_angle(parsed.u_tilt_zero).si,
    )
