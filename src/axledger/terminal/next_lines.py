"""Suspected slips, what to measure next and what to move, as lines."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from axledger.drawing.expected_figures import expected_figures
from axledger.drawing.printable import one_line
from axledger.geometry.conformity import Verdict
from axledger.job.findings import Finding
from axledger.job.move_words import CAUTIONS, SIDES
from axledger.job.moves import Expected
from axledger.job.next_steps import NextSteps

__all__ = ["end_lines", "expected_words", "next_lines", "slip_line", "slip_lines"]

_MOST_ADVICE = 5
_DONE = "All shots done. c closes the job."


def slip_line(findings: Sequence[Finding]) -> str:
    """Return the first suspected slip in one line: its key and cure first, as the room may end after them."""
    first = findings[0]
    many = "SLIP?" if len(findings) == 1 else f"{len(findings)} SLIPS?"
    return f"{many} y: {first.cure.words}; {first.told}"


def slip_lines(findings: Sequence[Finding], width: int) -> list[str]:
    """Return each suspected slip with what else it could be and the step that settles it, the first step's key too."""
    return [line for indent, words in _slips(findings) for line in _wrapped(words, width, " " * indent)]


def end_lines(steps: NextSteps, width: int) -> list[str]:
    """Return what to do once every shot is taken, few lines for the screen: the first move, else the first advice."""
    if steps.suspected:
        return [_DONE]
    if to_make := steps.to_make:
        number = steps.moves.moves.index(to_make[0]) + 1
        first = _wrapped(f"{number}. {to_make[0].words}", width)
        asks = _wrapped(f"i shows all. Done: `:moved {number}`, all: `:moved all`.", width)
        return [f"TO TURN OR SHIM: {len(to_make)}, c closes the job", *first, *asks]
    if steps.made:
        return [_DONE, *_wrapped("The moves are told: `:round` opens the round that proves them.", width)]
    if steps.advice:
        words = f"More would help, i shows all. `:more 1` is {steps.advice[0].words}"
        return [_DONE, *_wrapped(words, width)]
    if steps.moves.cannot:
        return [_DONE, *_wrapped(f"Out of reach, i shows all: {steps.moves.cannot[0]}", width)]
    return [_DONE, *_wrapped("A retake or a new round is open still.", width)]


def next_lines(steps: NextSteps, *, width: int = 100, unicode: bool = True) -> tuple[str, ...]:
    """Return everything there is to say, wrapped at ``width``; empty where there is nothing."""
    said = [*_slips(steps.suspected), *_moves(steps), *_advice(steps)]
    if steps.suspected:
        said.append((0, "What to measure and what to move is said once no slip stands."))
    said += [(0, f"what would settle the settings: {words}") for words in steps.proofs]
    said += [(0, words) for words in steps.settings]
    # in plain characters first: some of them are longer so
    return tuple(
        line for indent, words in said for line in _wrapped(one_line(words, unicode=unicode), width, " " * indent)
    )


def _wrapped(words: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(words, max(20, width), initial_indent=indent, subsequent_indent=f"{indent}  ")


def _slips(findings: Sequence[Finding]) -> Iterator[tuple[int, str]]:
    for number, finding in enumerate(findings):
        yield 0, f"SLIP? {finding.told}"
        yield 2, f"to settle it: {finding.cure.words}{' (y does it)' if number == 0 else ''}"


def _moves(steps: NextSteps) -> Iterator[tuple[int, str]]:
    plan = steps.moves
    if plan.moves:
        yield 0, "WHAT TO DO (`:moved 1` once it is done, `:moved all` for all, then `:round`)"
        for number, move in enumerate(plan.moves, start=1):
            yield 2, f"{number}. {move.words}{', DONE' if steps.is_made(move) else ''}"
        for expected in plan.predicted:
            if expected.verdict is not Verdict.CONFORMS or abs(expected.after - expected.before) > expected.u:
                yield 4, expected_words(expected)
        yield from ((2, words) for words in (SIDES, *CAUTIONS))
    if plan.moves or plan.cannot:
        yield from ((0, f"as it stands, {one.words}") for one in steps.consequences)
    yield from ((0, f"the declared adjusters cannot do it: {words}") for words in plan.cannot)
    yield from ((0, f"measure first: {words}") for words in plan.measure_first)


def expected_words(expected: Expected) -> str:
    """Return what a result should be after the moves: ``then expected: axle 2: squareness +0.21 becomes +0.01 ...``."""
    now, then, expanded = expected_figures(expected)
    words = f"{expected.name} {now} becomes {then} ± {expanded} {expected.unit}"
    return f"then expected: {words}, {expected.verdict.value}"


def _advice(steps: NextSteps) -> Iterator[tuple[int, str]]:
    if steps.advice:
        yield 0, "WHAT TO MEASURE NEXT (`:more 1` asks for the first)"
        for number, one in enumerate(steps.advice[:_MOST_ADVICE], start=1):
            yield 2, f"{number}. {one.words}"
    yield from ((2, outlook.words) for outlook in steps.outlooks)
