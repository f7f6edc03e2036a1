"""The sheet's findings and advice: suspected slips that stand, what would be moved, what the results rest on."""

from __future__ import annotations

from axledger.drawing.expected_figures import expected_figures
from axledger.job.moves import Expected
from axledger.job.next_steps import NextSteps
from axledger.job.state import JobState
from axledger.report.markup import Content, Markup, heading, listed, rows_table, tag

__all__ = ["next_section"]

_MOST_ADVICE = 5
_LOUD = (
    "Suspected slips that nobody has settled. While they stand no result of this round can be relied on, and nothing "
    "is advised."
)
_COLUMNS = ("result", "now", "after the moves", "U (k = 2)", "expected verdict")


def next_section(state: JobState) -> Markup:
    """Return what was found and what is advised; nothing where there is nothing to say."""
    steps = state.steps
    if steps is None:
        return Markup("")
    parts = [*_slips(steps), *_moves(steps)]
    if steps.advice:
        parts += [tag("h3", "What would decide more"), listed(one.words for one in steps.advice[:_MOST_ADVICE])]
    if steps.outlooks:
        parts += [tag("h3", "What it takes to decide"), listed(one.words for one in steps.outlooks)]
    if steps.consequences:
        parts += [tag("h3", "What it does on the road"), listed(one.words for one in steps.consequences)]
    if steps.settings or steps.proofs:
        proofs = (f"what would settle the settings: {words}" for words in steps.proofs)
        parts += [tag("h3", "Settings"), listed((*steps.settings, *proofs))]
    unseen = f"No test of these readings can show {'; '.join(steps.findings.cannot_see)}."
    return heading("Findings and advice", *parts, tag("p", unseen, class_="small"), anchor="next")


def _slips(steps: NextSteps) -> list[Content]:
    if not steps.suspected:
        return []
    slips = listed(f"{one.told}; to settle it: {one.cure.words}" for one in steps.suspected)
    return [tag("p", _LOUD, class_="loud", role="note"), slips]


def _moves(steps: NextSteps) -> list[Content]:
    plan, parts = steps.moves, list[Content]()
    if plan.moves:
        rows = [list[Content](_expected(one)) for one in plan.predicted]
        caption = "Expected, to be confirmed by measuring again"
        parts += [tag("h3", "What to move"), listed(plan.move_words)]
        parts.append(rows_table(caption, _COLUMNS, rows, class_="results"))
    if steps.made:
        parts.append(tag("p", "Moves were told as made since these readings; no reading here shows them yet."))
    if plan.cannot:
        parts += [tag("h3", "What the declared adjusters cannot do"), listed(plan.cannot)]
    if plan.measure_first:
        parts += [tag("h3", "To be measured before it is moved"), listed(plan.measure_first)]
    return parts


def _expected(one: Expected) -> tuple[str, ...]:
    now, then, expanded = (f"{figure} {one.unit}" for figure in expected_figures(one))
    return one.name, now, then, expanded, one.verdict.value
