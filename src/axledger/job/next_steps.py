"""What a job has to say besides its results: suspected slips, what to measure next, what to turn or shim."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from axledger.geometry.conformity import Verdict
from axledger.job.advice import Advice, next_measurement, outlooks
from axledger.job.board import MadeMove
from axledger.job.consequences import Consequence, consequences_of
from axledger.job.findings import Finding, Findings, findings_of
from axledger.job.moves import Move, MovePlan, advised_moves
from axledger.job.outlook import Outlook
from axledger.job.setting_words import proof_words, settings_words
from axledger.job.solution import Result

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = ["NextSteps", "next_steps_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextSteps:
    """``findings`` of the present round; the rest once its shots are done, or when it was asked for.

    ``settings`` says in words what the results rest on where that is not as stated. ``made`` are the moves told
    since the readings of this round; those of ``moves`` that they name are done already. ``proofs`` name, for results
    that are undecided, the setting that most of their variance comes from, and what would prove it. ``consequences``
    are derived from the results: how far axles are dragged sideways, how far the rear runs beside the front.
    """

    findings: Findings
    advice: tuple[Advice, ...] = ()
    outlooks: tuple[Outlook, ...] = ()
    moves: MovePlan = field(default_factory=MovePlan)
    made: tuple[MadeMove, ...] = ()
    settings: tuple[str, ...] = ()
    proofs: tuple[str, ...] = ()
    consequences: tuple[Consequence, ...] = ()

    @property
    def suspected(self) -> tuple[Finding, ...]:
        """Return the slips that stand, the strongest first; the first one's cure is the one proposed."""
        return self.findings.findings

    @property
    def to_make(self) -> tuple[Move, ...]:
        """Return the advised moves that nobody has told to be done yet, in the order in which to make them."""
        return tuple(move for move in self.moves.moves if not self.is_made(move))

    def is_made(self, move: Move) -> bool:
        """Tell whether an advised move was told to be done after this round, by whatever amount."""
        return any((one.adjuster, one.end) == (move.adjuster, move.end) for one in self.made)


def next_steps_of(fold: JobFold, *, asked: bool = False) -> NextSteps:
    """Return what is next; with shots still open advice and moves are left out unless they are ``asked`` for.

    While a slip stands unsettled nothing is advised: first the slip, then the bolts.
    """
    findings = findings_of(fold)
    if fold.work is None or (fold.open_shots() and not asked):
        return NextSteps(findings=findings)
    # views ask at every change of a link as well; a board never changes in place, so what was worked out holds
    if fold.work.steps is None or fold.work.steps[0] is not fold.board:
        fold.work.steps = (fold.board, _worked_out(fold, findings))
    return fold.work.steps[1]


def _worked_out(fold: JobFold, findings: Findings) -> NextSteps:
    made = tuple(move for move in fold.board.made if move.round == fold.board.round)
    settings = settings_words(fold)
    if findings.findings:
        return NextSteps(findings=findings, made=made, settings=settings)
    return NextSteps(
        findings=findings, advice=next_measurement(fold), outlooks=outlooks(fold), moves=advised_moves(fold),
        made=made, settings=settings, proofs=_proofs(fold), consequences=_consequences(fold),
    )  # fmt: skip


def _results(fold: JobFold) -> tuple[Result, ...]:
    solution = fold.solution()
    return solution.results if solution is not None else ()


def _proofs(fold: JobFold) -> tuple[str, ...]:
    """Return each proof once, with the undecided results it is for."""
    wanted: dict[str, list[str]] = {}
    for result in _results(fold):
        if result.verdict is Verdict.UNDECIDED and (words := proof_words(result)):
            wanted.setdefault(words.partition(": ")[2] or words, []).append(
                f"{result.name} ({words.partition(':')[0]})"
            )
    return tuple(f"{proof}: {'; '.join(names)}" for proof, names in wanted.items())


def _consequences(fold: JobFold) -> tuple[Consequence, ...]:
    return consequences_of(fold.layout, _results(fold)) if fold.layout is not None else ()
