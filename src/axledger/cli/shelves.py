"""``axledger profiles``, ``layouts``, ``limits``: each ``list``, ``show NAME``, ``check FILE``."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from axledger.cli.folder import add_json, own_folder, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    doing = parser.add_subparsers(dest="doing", metavar="list|show|check", required=True)
    add_json(doing.add_parser("list", help="names and titles"))
    show = doing.add_parser("show", help="print one")
    show.add_argument("name", metavar="NAME")
    add_json(show)
    check = doing.add_parser("check", help="check one, and say what is wrong, line by line")
    check.add_argument("name", metavar="FILE", help="a file, or the name of one that is known")
    check.add_argument("--on", metavar="STREAM", help="profiles only: decode a recorded stream (JSON Lines)")
    add_json(check)


def run(parsed: argparse.Namespace) -> int:
    """Do what was asked of the shelf."""
    shelf = {"profiles": _Profiles, "layouts": _Layouts, "limits": _Limits}[parsed.command]()
    if parsed.doing == "list":
        return _list(shelf, as_json=parsed.json)
    if parsed.doing == "show":
        return _show(shelf, parsed.name, as_json=parsed.json)
    return _check(shelf, parsed)


class _Profiles:
    def names(self) -> Sequence[str]:
        from axledger_drivers.registry import profile_names

        return profile_names(_folders("profiles"))

    def load(self, name: str) -> Any:
        from axledger.contract.profile import parse_profile, read_profile_text
        from axledger_drivers.registry import load_profile

        if name.endswith(".toml"):
            return parse_profile(_text(name, read_profile_text), path=name)
        return load_profile(name, _folders("profiles"))

    def facts(self, profile: Any) -> list[str]:
        measures = ", ".join(sorted(quantity.value for quantity in profile.quantities()))
        return [f"measures {measures}", f"by {', '.join(profile.transports)}", f"{len(profile.line)} kinds of line"]


class _Layouts:
    def names(self) -> Sequence[str]:
        from axledger.job.library import layout_names

        return layout_names(own_folder("layouts"))

    def load(self, name: str) -> Any:
        from axledger.job.library import load_layout

        return load_layout(name, own_folder("layouts"))

    def facts(self, layout: Any) -> list[str]:
        from axledger.job.plan import plan_shots
        from axledger.job.sight_lines import unclear_shots

        shots = plan_shots(layout)
        unclear = unclear_shots(layout)
        return [
            f"{unit.name}: axles {', '.join(axle.code for axle in unit.axle)}, against {unit.reference.value}"
            for unit in layout.unit
        ] + [
            f"{len(shots)} shots in the walk",
            "every line of sight is clear" if not unclear else "BLOCKED: " + "; ".join(unclear),
        ]


class _Limits:
    def names(self) -> Sequence[str]:
        from axledger.job.library import limit_sheet_names

        return limit_sheet_names(own_folder("limits"))

    def load(self, name: str) -> Any:
        from axledger.job.library import load_limit_sheet

        return load_limit_sheet(name, own_folder("limits"))

    def facts(self, sheet: Any) -> list[str]:
        kind = "EXAMPLE, not for real vehicles" if sheet.example else "own limits"
        return [kind, f"rule: {sheet.decision_rule.value}"] + [
            f"{limit.key}: {_bounds(limit)} {limit.unit} ({limit.source}, {limit.revision})" for limit in sheet.limit
        ]


def _bounds(limit: Any) -> str:
    if limit.lower is None:
        return f"at most {limit.upper}"
    return f"at least {limit.lower}" if limit.upper is None else f"{limit.lower} to {limit.upper}"


def _folders(shelf: str) -> list[Path]:
    folder = own_folder(shelf)
    return [folder] if folder is not None else []


def _utf8(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def _text(name: str, read: Callable[[Path], str]) -> str:
    from axledger.contract.errors import BadFile

    try:
        return read(Path(name))
    except (OSError, UnicodeDecodeError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise BadFile(name, [(0, words)], allowed="a readable UTF-8 file", do="name another file") from error


def _list(shelf: Any, *, as_json: bool) -> int:
    rows = [(name, str(shelf.load(name).title)) for name in shelf.names()]
    if as_json:
        print_json([{"name": name, "title": title} for name, title in rows])
    else:
        width = max((len(name) for name, _ in rows), default=0)
        for name, title in rows:
            print(f"{name:{width}}  {title}")
    return 0


def _show(shelf: Any, name: str, *, as_json: bool) -> int:
    found = shelf.load(name)
    if as_json:
        print_json(found.model_dump(mode="json", by_alias=True, exclude_none=True))
    else:
        print(f"{found.name}: {found.title}")
        for fact in shelf.facts(found):
            print(f"  {fact}")
    return 0


def _check(shelf: Any, parsed: argparse.Namespace) -> int:
    from axledger.contract.errors import BadFile

    if not parsed.name.endswith(".toml") and Path(parsed.name).exists():
        raise BadFile(parsed.name, [(0, "its name does not end in .toml")], allowed="a TOML file", do="rename it")
    found = shelf.load(parsed.name)
    frames = _frames(found, parsed.on) if parsed.on else None
    if isinstance(shelf, _Layouts):
        from axledger.cli.layout_view import check_layout_command
        from axledger.job.library import layout_text

        text = layout_text(parsed.name, own_folder("layouts"))
        return check_layout_command(parsed.name, found, text, shelf.facts(found), as_json=parsed.json)
    if parsed.json:
        print_json({"ok": True, "name": found.name, "facts": shelf.facts(found), "frames": frames})
        return 0
    print(f"{parsed.name}: in order ({found.title})")
    for fact in shelf.facts(found):
        print(f"  {fact}")
    for frame in frames or []:
        print("  " + "  ".join(f"{name} {value}" for name, value in frame.items() if value is not None))
    return 0


def _frames(profile: Any, stream: str) -> list[dict[str, Any]]:
    """Decode a recorded stream and describe every frame."""
    from axledger.contract.errors import BadInput
    from axledger.contract.frame import Measured
    from axledger.contract.profile import Profile
    from axledger.job.link_fold import describe
    from axledger_drivers.registry import decoder_for
    from axledger_drivers.transports.recorded import parse_recorded

    if not isinstance(profile, Profile):
        raise BadInput("--on goes with profiles", found=stream, allowed="a profile", do="leave --on out")
    decoder = decoder_for(profile)
    frames = [
        frame
        for chunk in parse_recorded(_text(stream, _utf8), path=stream)
        for frame in (*decoder.quiet(chunk.at_ns), *decoder.feed(chunk.data, chunk.at_ns))
    ]
    described: list[dict[str, Any]] = []
    for frame in (*frames, *decoder.finish()):
        outcome = frame.outcome
        row: dict[str, Any] = {"hex": frame.raw.hex(), "outcome": type(outcome).__name__}
        if isinstance(outcome, Measured):
            for value in outcome.values:
                described.append(
                    {**row, "quantity": value.quantity.value, "si": value.si, "text": value.text, "unit": value.unit}
                )
        else:
            described.append({**row, "words": describe(outcome)})
    return described
