"""``axledger job``: open, run, show and close a job."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from axledger.cli.chosen import add_chosen, chosen_of
from axledger.cli.folder import add_json, add_person, data_folder, own_folder, person_of, print_json


def options(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    doing = parser.add_subparsers(dest="doing", metavar="new|run|show|close", required=True)
    new = doing.add_parser("new", help="open a job and prove its plan")
    new.add_argument("--vehicle", metavar="LAYOUT", required=True, help="a layout's name or file")
    new.add_argument("--limits", metavar="SHEET", help="a limit sheet's name or file")
    new.add_argument("--meter", metavar="NAME", help="enrolled distance meter (default: the only one in use)")
    new.add_argument("--inclinometer", metavar="NAME", help="enrolled inclinometer (default: the only one in use)")
    new.add_argument("--plate", metavar="NAME", help="enrolled turning plates, for --with sweep (typed readings)")
    new.add_argument("--repeats", type=int, default=2, help="readings per shot (default 2)")
    add_chosen(new)
    new.add_argument("--name", metavar="JOB", help="the job's name (default: date and number)")
    for field, words in _VEHICLE.items():
        new.add_argument(f"--{field}", default="", help=words)
    add_person(new)
    add_json(new)
    run_ = doing.add_parser("run", help="take readings; goes on where it was left")
    _job(run_)
    run_.add_argument("--prepared", action="store_true", help="tick the whole preparation list")
    run_.add_argument("--until-done", action="store_true", help="end when no shot is open (default: ask at the end)")
    run_.add_argument("--no-colour", action="store_true", help="no colour")
    run_.add_argument("--ascii", action="store_true", help="plain characters only")
    add_person(run_)
    add_json(run_)
    show = doing.add_parser("show", help="results, readings and plan of a job, or all jobs")
    _job(show)
    show.add_argument("--plan", action="store_true", help="show the plan and what it is worth")
    add_json(show)
    close = doing.add_parser("close", help="state the results; nothing can be added after that")
    _job(close)
    close.add_argument("--yes", action="store_true", help="close although shots are open")
    add_person(close)
    add_json(close)


_VEHICLE = {
    "unit-number": "the vehicle's unit number",
    "odometer": "odometer, with its unit",
    "load": "load state",
    "tyres": "tyre pressures",
}


def _job(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", nargs="?", metavar="JOB", help="the job's name (default: the newest)")


def run(parsed: argparse.Namespace) -> int:
    """Do what was asked."""
    return {"new": _new, "run": _run, "show": _show, "close": _close}[parsed.doing](parsed)


def _new(parsed: argparse.Namespace) -> int:
    from axledger.contract.transport import SystemClock
    from axledger.job.layout_check import refuse_bad
    from axledger.job.library import load_layout, load_limit_sheet
    from axledger.job.opening import open_job
    from axledger.ledger import Ledger

    layout = load_layout(parsed.vehicle, own_folder("layouts"))
    refuse_bad(layout)
    limits = load_limit_sheet(parsed.limits, own_folder("limits")) if parsed.limits else None
    vehicle = {field.replace("-", " "): value for field in _VEHICLE if (value := _given(parsed, field))}
    with Ledger.open(data_folder()) as ledger:
        roles = _roles(ledger, parsed)
        job = open_job(
            ledger, layout, limits, roles, stamp=SystemClock().now(), person=person_of(parsed), vehicle=vehicle,
            repeats=parsed.repeats, name=parsed.name, chosen=chosen_of(parsed),
        )  # fmt: skip
    return _show_plan(job, as_json=parsed.json)


def _given(parsed: argparse.Namespace, field: str) -> str:
    return str(getattr(parsed, field.replace("-", "_")))


def _roles(ledger: Any, parsed: argparse.Namespace) -> dict[str, Any]:
    """Return the instruments by role: those named, else the only one in use that measures what is needed."""
    from axledger.contract.errors import BadInput, UnknownName
    from axledger.contract.quantity import Quantity
    from axledger.job.opening import instruments_in

    known = instruments_in(ledger)
    roles: dict[str, Any] = {}
    wanted = [("meter", Quantity.LENGTH), ("inclinometer", Quantity.INCLINATION)]
    if "sweep" in chosen_of(parsed).parts:
        wanted.append(("plate", Quantity.INCLINATION))
    for role, quantity in wanted:
        if named := getattr(parsed, role):
            if named not in known:
                raise UnknownName("instrument", named, sorted(known), do="enrol it with `axledger enrol`")
            roles[role] = known[named]
            continue
        fitting = [e for e in known.values() if quantity in e.instrument.quantities and e.instrument.state == "in use"]
        if role != "meter":  # what a person reads off a plate is typed, and an inclinometer is no plate
            taken = {parsed.plate} if role == "inclinometer" else {e.instrument.name for e in roles.values()}
            fitting = [e for e in fitting if e.instrument.name not in taken]
        if len(fitting) > 1:
            names = ", ".join(enrolled.instrument.name for enrolled in fitting)
            raise BadInput(
                f"more than one instrument could be the {role}", found=names, allowed="one", do=f"name it with --{role}"
            )
        if fitting:
            roles[role] = fitting[0]
    _must_not_share(roles)
    return roles


def _must_not_share(roles: dict[str, Any]) -> None:
    """Refuse two instruments at one address: only one of them could ever be heard."""
    from axledger.contract.errors import BadInput

    chosen = {enrolled.instrument.name: enrolled.instrument.address for enrolled in roles.values()}
    if len(set(chosen.values())) < len(chosen):
        raise BadInput(
            "two instruments of the job have one address", found=", ".join(f"{n} at {a}" for n, a in chosen.items()),
            allowed="an address for each, or one instrument that measures both", do="enrol one of them anew",
        )  # fmt: skip


def _folded(job: str | None) -> tuple[Any, Any]:
    """Return the job's fold and the ledger's head, read without a writer's lock."""
    from axledger.job.opening import fold_job, latest_job
    from axledger.ledger import Ledger
    from axledger_drivers.registry import decoder_for

    with Ledger.read(data_folder()) as ledger:
        return fold_job(ledger, job or latest_job(ledger), decoder_for), ledger.head()


def _show_plan(job: str | None, *, as_json: bool) -> int:
    from axledger.job.ability import ability_body, can_decide
    from axledger.job.proof import prove

    fold, _ = _folded(job)
    plan = (fold.fresh_solver(), fold.layout, fold.shots(), fold.header.repeats)
    proof, abilities = prove(*plan, chosen=fold.chosen), can_decide(*plan, chosen=fold.chosen)
    if as_json:
        from axledger.job.statements import forecast_body

        print_json(
            {
                "job": fold.job,
                "shots": [shot.id for shot in fold.shots()],
                "forecast": [forecast_body(result) for result in proof.results],
                "undetermined": list(proof.undetermined),
                "cannot_decide": list(proof.cannot_decide),
                "abilities": [ability_body(ability) for ability in abilities],
                "unchecked": list(proof.unchecked),
                "cure": list(proof.cure),
            }
        )
        return 0
    _print_plan(fold, proof, abilities)
    print(f"\njob {fold.job} is open: run it with `axledger job run {fold.job}`")
    return 0


def _print_plan(fold: Any, proof: Any, abilities: Any) -> None:
    import shutil
    import textwrap

    from axledger.cli.job_screen import writes_unicode
    from axledger.job.state import Words, state_of
    from axledger.terminal.ability import ability_lines
    from axledger.terminal.forecast import forecast_lines
    from axledger.terminal.tables import instrument_lines, plan_lines

    width = max(80, shutil.get_terminal_size((80, 24)).columns)
    unicode, state = writes_unicode(sys.stdout), state_of(fold, Words(fold.layout))
    title = f"job {fold.job}: {fold.layout.title}, {state.limits_title}"
    lines = [*textwrap.wrap(title, width, subsequent_indent="  "), ""]
    lines += [*instrument_lines(state.instruments, width=width, unicode=unicode), ""]
    lines += [*plan_lines(state.shots, width=width, unicode=unicode), ""]
    lines += [*forecast_lines(proof.results, width=width, unicode=unicode), ""]
    lines += ability_lines(abilities, width=width, unicode=unicode)
    for words, keys in (
        ("not determined by this plan", proof.undetermined),
        ("limits that these instruments, settings and shots cannot decide", proof.cannot_decide),
        ("shots in which a slip would go unseen", proof.unchecked),
        ("shots that would help", proof.cure),
    ):
        if keys:
            lines += textwrap.wrap(f"{words}: {', '.join(keys)}", width, subsequent_indent="  ")
    if fold.limits is not None and not any(result.zone_left is not None for result in proof.results):
        lines.append(f"NO LIMIT of {state.limits_title!r} fits any result of this vehicle: nothing will be judged")
    print("\n".join(lines))


def _show(parsed: argparse.Namespace) -> int:
    from axledger.job.statements import results_of

    if parsed.plan:
        return _show_plan(parsed.job, as_json=parsed.json)
    fold, head = _folded(parsed.job)
    if parsed.json:
        print_json(job_json(fold, head, results_of(fold)))
        return 0
    from rich.console import Console

    from axledger.cli.job_screen import writes_unicode
    from axledger.job.next_steps import next_steps_of
    from axledger.job.state import Words, decisive_of, state_of
    from axledger.terminal.next_lines import next_lines
    from axledger.terminal.tables import results_text

    state = state_of(fold, Words(fold.layout), decisive_of(fold))
    console = Console(highlight=False)
    console.print(f"job {fold.job}: {fold.layout.title}; {'closed' if fold.closed else 'open'}; {state.limits_title}")
    console.print(results_text(state, width=console.width, unicode=writes_unicode(sys.stdout)))
    for line in next_lines(next_steps_of(fold, asked=True), width=console.width, unicode=writes_unicode(sys.stdout)):
        console.print(line, markup=False)
    console.print(f"ledger head: {head.size} {head.root}")
    return 0


def job_json(fold: Any, head: Any, results: list[Any]) -> dict[str, Any]:
    """Return a job as JSON data: what is open, every reading with its entry and state, and the results."""
    from axledger.job.next_steps import next_steps_of
    from axledger.job.next_steps_body import next_steps_body
    from axledger.job.statements import contradictory_rounds

    return {
        "job": fold.job,
        "vehicle": fold.layout.name,
        "closed": fold.closed,
        "round": fold.board.round,
        "current": shot.id if (shot := fold.current()) is not None else None,
        "open": [shot.id for shot in fold.open_shots()],
        "counts": fold.counts(),
        "readings": [_reading_json(fold, number) for number in sorted(fold.readings)],
        "results": results,
        "contradictory_rounds": contradictory_rounds(fold),
        "next": next_steps_body(next_steps_of(fold, asked=True)),
        "ledger": {"entries": head.size, "head": head.root},
    }


def _reading_json(fold: Any, number: int) -> dict[str, Any]:
    reading, place = fold.readings[number], fold.board.places[number]
    return {
        "number": number,
        "entry": reading.seq,
        "instrument": reading.instrument,
        "raw": reading.raw.hex(),
        "values": {quantity.value: value[0] for quantity, value in reading.values.items()},
        "state": place.state,
        "why": place.why,
        "shot": place.shot,
        "round": place.round,
    }


def _close(parsed: argparse.Namespace) -> int:
    from axledger.contract.errors import Refused
    from axledger.contract.transport import SystemClock
    from axledger.job.opening import latest_job
    from axledger.job.run import JobRun
    from axledger.job.wiring import supervisor_maker
    from axledger.ledger import Ledger
    from axledger_drivers.registry import decoder_for

    clock = SystemClock()
    with Ledger.open(data_folder(), create=False) as ledger:
        run_ = JobRun(
            ledger, parsed.job or latest_job(ledger), clock=clock, make_decoder=decoder_for,
            make_supervisor=supervisor_maker(clock), person=person_of(parsed), device="command line",
        )  # fmt: skip
        if (waiting := run_.fold.open_shots()) and not run_.fold.closed and not parsed.yes:
            raise Refused(
                f"job {run_.fold.job} is not finished", found=f"{len(waiting)} shots open, from {waiting[0].id} on",
                allowed="a finished plan, or --yes", do=f"go on with `axledger job run {run_.fold.job}`, or add --yes",
                kept="nothing was closed",
            )  # fmt: skip
        run_.close_job()
        statement = run_.fold.statements[-1][1]
    if parsed.json:
        print_json(statement)
    else:
        print(f"job {run_.fold.job} closed; write its sheet with `axledger report {run_.fold.job}`")
    return 0


def _run(parsed: argparse.Namespace) -> int:
    from axledger.cli.job_screen import work

    return work(parsed)
