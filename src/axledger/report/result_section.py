"""The sheet's results: by axle, each value with its uncertainty, limits and verdict; rounds side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from axledger.drawing.figures import Units, axle_reference, direction_words, figure_of, limits_words, own_reference
from axledger.drawing.verdict_marks import mark_of, mark_svg
from axledger.drawing.whisker import whisker_svg
from axledger.geometry.conformity import Rule, Verdict
from axledger.job.solution import Result
from axledger.job.state import JobState
from axledger.report.markup import Content, Markup, heading, joined, rows_table, tag

__all__ = ["probability_words", "result_section", "rounds_section", "rule_words"]


def result_section(state: JobState, units: Units) -> Markup:
    """Return the results of the present round, a table for each axle."""
    parts: list[Content] = []
    if state.limits_example:
        loud = (
            f"EXAMPLE LIMITS: {state.limits_title}. They are examples, not for any real vehicle. "
            "No vehicle may be passed or failed by them."
        )
        parts.append(tag("p", loud, class_="loud", role="note"))
    if state.steps is not None and state.steps.suspected:
        slips = (
            "A slip is suspected and not settled: no verdict of this round can be relied on. See the findings below."
        )
        parts.append(tag("p", slips, class_="loud", role="note"))
    elif state.contradicts:
        doubt = (
            "The accepted readings contradict each other far beyond what chance allows: at least one is wrong, and "
            "no result of this round can be relied on. See the readings below for what was held and accepted."
        )
        parts.append(tag("p", doubt, class_="loud", role="note"))
    parts.append(tag("p", rule_words(state.rule)))
    signs = (
        "U is half the width of the interval that covers the true value with 95 %. Angles are positive to the left "
        "seen from above, offsets positive to the left, toe positive for toe-in."
    )
    parts.append(tag("p", signs, class_="small"))
    parts += [_axle_table(results, state, units) for results in _by_axle(state.results)]
    if not state.results:
        parts.append(tag("p", "No results: nothing was measured."))
    return heading(f"Results, round {state.round}", *parts, anchor="results")


def _by_axle(results: Sequence[Result]) -> Iterator[list[Result]]:
    grouped: dict[str, list[Result]] = {}
    for result in results:
        grouped.setdefault(".".join(result.key.split(".")[:2]), []).append(result)
    yield from grouped.values()


def _axle_name(result: Result, state: JobState) -> str:
    unit = next((unit.name for unit in state.layout.unit if result.key.startswith(f"{unit.id}.")), "")
    axle = result.name.split(": ")[0]
    return f"{unit}, {axle}" if unit else axle


def _axle_table(results: Sequence[Result], state: JobState, units: Units) -> Markup:
    reference = axle_reference(results)
    rows = [_result_row(result, reference, state, units) for result in results]
    columns = ("result", "value ± U", "limits", "value and limits", "verdict", "probability", "source of the limit")
    caption = f"{_axle_name(results[0], state)}, against {reference}"
    return rows_table(caption, columns, rows, class_="results")


def _result_row(result: Result, reference: str, state: JobState, units: Units) -> list[Content]:
    return [
        _name(result, reference),
        joined((_value(result, units), *_way(result, units), *_waiting(result, state))),
        limits_words(result, units),
        Markup(whisker_svg(result, units, width=120)),
        _verdict(result),
        probability_words(result.probability),
        result.source,
    ]


def _name(result: Result, reference: str) -> str:
    name, own = result.name.split(": ", 1)[-1], own_reference(result, reference)
    return f"{name}, {own}" if own and result.against not in name else name


def _value(result: Result, units: Units) -> Markup:
    figure = figure_of(result, units)
    return tag("span", figure.text() if figure is not None else "not yet determined", class_="figure")


def _way(result: Result, units: Units) -> list[Markup]:
    words = direction_words(result, units)
    return [tag("span", words)] if words else []


def _waiting(result: Result, state: JobState) -> list[Markup]:
    shot = state.decisive.get(result.key)
    return [tag("span", f"(wants shot {shot})")] if result.value is None and shot else []


def _verdict(result: Result) -> Markup:
    return tag("span", Markup(mark_svg(result.verdict)), mark_of(result.verdict).word)


def probability_words(probability: float | None) -> str:
    """Return the probability of conformity as text; the ends are never rounded to certainty."""
    if probability is None:
        return ""
    if probability > 0.999:
        return "above 99.9 %"
    return "below 0.1 %" if probability < 0.001 else f"{100 * probability:.1f} %"


def rule_words(rule: str) -> str:
    """Say the decision rule (its value in a limit sheet) in plain words."""
    known = {
        Rule.GUARD_95.value: "Decision rule: a result conforms when it lies inside the limits by at least 1.65 u, and "
        "does not conform when it lies outside them by at least 1.65 u (95 %, one-sided, u the standard uncertainty); "
        "between, it is undecided.",
        Rule.GUARD_U.value: "Decision rule: a result conforms when it lies inside the limits by at least U = 2 u, and "
        "does not conform when it lies outside them by at least U; between, it is undecided.",
        Rule.SIMPLE.value: "Decision rule: simple acceptance. A result conforms when it lies inside the limits, "
        "whatever its uncertainty; at a limit the risk of a wrong verdict is one half. See the probabilities.",
    }
    return known.get(rule, f"Decision rule: {rule}." if rule else "No limits were given, so nothing is judged.")


def rounds_section(state: JobState, units: Units) -> Markup:
    """Return before and after side by side where the job has more than one round, else nothing."""
    if not state.earlier:
        return Markup("")
    rounds = {**state.earlier, state.round: state.results}
    numbers = sorted(rounds)
    columns = ["result", *(f"round {number}" for number in numbers), "limits"]
    names = {result.key: result for results in rounds.values() for result in results}
    by_round = {number: {result.key: result for result in rounds[number]} for number in numbers}
    rows = [
        [
            f"{_axle_name(result, state)}: {result.name.split(': ', 1)[-1]}",
            *(_in_round(by_round[number].get(key), units) for number in numbers),
            limits_words(result, units),
        ]
        for key, result in names.items()
    ]
    caption = "Before and after: the first round is the vehicle as it came"
    return heading("Rounds side by side", rows_table(caption, columns, rows), anchor="rounds")


def _in_round(result: Result | None, units: Units) -> Content:
    if result is None or result.verdict is Verdict.UNDETERMINED:
        return "not determined"
    return joined((_value(result, units), *_way(result, units), tag("div", _verdict(result))))
