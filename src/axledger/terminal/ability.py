"""Whether the plan can decide its limits, in lines, with the cheapest change where it cannot."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from axledger.contract.quantity import UNITS, from_si
from axledger.drawing.printable import one_line
from axledger.job.ability import Ability, Change
from axledger.terminal.lines import fit

__all__ = ["ability_lines"]

_NOTE = "perfect, half: how often a vehicle set perfectly, or off by half its tolerance, will be shown to conform"


def ability_lines(abilities: Sequence[Ability], *, width: int = 100, unicode: bool = True) -> tuple[str, ...]:
    """Return one line for each limit and, where it cannot well be decided, what would help.

    No line is longer than ``width`` (80 or more); nothing where there are no limits.
    """
    if not abilities:
        return ()
    name_width = width - 32
    lines = [_row("can the limits be decided?", "share", "perfect", "half", name_width)]
    for ability in abilities:
        lines.append(
            _row(ability.name, _share(ability.zone_left), _share(ability.perfect), _share(ability.half), name_width)
        )
        if not ability.sure:
            lines += textwrap.wrap(_cure_words(ability), width, initial_indent="      ", subsequent_indent="      ")
    lines += textwrap.wrap(_NOTE, width, subsequent_indent="  ")
    return tuple(one_line(line, unicode=unicode) for line in lines)


def _row(name: str, share: str, perfect: str, half: str, name_width: int) -> str:
    return f"  {fit(name, name_width)} {share:>8} {perfect:>8} {half:>8}".rstrip()


def _share(share: float | None) -> str:
    return "" if share is None else f"{share:.0%}"


def _cure_words(ability: Ability) -> str:
    if ability.cure is None:
        return (
            "nothing tried here would help: repeats, turns, the other procedures, enrolled targets, longer "
            "straightedges, a steadier meter"
        )
    enough = ability.cure.perfect is None or ability.cure.perfect >= 0.9
    return f"{'would do' if enough else 'helps most'}: {_change_words(ability, ability.cure)}"


def _change_words(ability: Ability, change: Change) -> str:
    expanded = 2.0 * float(from_si(change.u, UNITS[ability.unit]))
    chances = "" if change.perfect is None else f", perfect {_share(change.perfect)}, half {_share(change.half)}"
    return f"{change.words} ({change.cost}): U {expanded:.2g} {ability.unit}, share {_share(change.zone_left)}{chances}"
