"""What ``axledger layouts check`` says: faults with their lines, and what each walk of the layout is worth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from axledger.job.layout import Layout
    from axledger.job.layout_check import LayoutCheck, LayoutFault, WalkProof
    from axledger.job.solution import Result

__all__ = ["check_layout_command"]

_NAMED = 6
_FOOT = (
    "u as expected with a meter of 0.7 mm and two readings a shot, room left for settings worse than stated; the",
    "bounds are for settings as stated. A job proves its own plan with its own instruments and limits.",
)


def check_layout_command(name: str, layout: Layout, text: str, facts: list[str], *, as_json: bool) -> int:
    """Prove ``layout`` (its file says ``text``), print what was found; return 0, or 1 where it cannot be used."""
    from axledger.cli.folder import print_json
    from axledger.job.layout_check import check_layout

    check = check_layout(layout)
    facts = [fact for fact in facts if not (check.faults and fact.startswith("BLOCKED"))]  # said below, with its cure
    if as_json:
        known = {"ok": check.good, "name": layout.name, "facts": facts, "frames": None}
        print_json({**known, **_body(layout, check, text)})
    else:
        verdict = "in order" if check.good else "NOT in order"
        print(f"{name}: {verdict} ({layout.title})")
        for line in [*facts, *_lines(layout, check, text)]:
            print(f"  {line}")
    return 0 if check.good else 1


def _lines(layout: Layout, check: LayoutCheck, text: str) -> list[str]:
    lines: list[str] = []
    for fault in check.faults:
        line = _line(text, fault)
        lines += [f"{f'line {line}: ' if line else ''}{fault.words}", f"    do: {fault.do}"]
    for walk in check.walks:
        lines += _walk_lines(layout, walk, in_full=walk is check.walks[0] or bool(walk.parts))
    return [*lines, *_FOOT]


def _line(text: str, fault: LayoutFault) -> int:
    from axledger.contract.toml_file import line_of

    return line_of(text, *fault.place)


def _walk_lines(layout: Layout, walk: WalkProof, *, in_full: bool) -> list[str]:
    distances = len(walk.smallest_visible)
    tilts = len(walk.shots) - distances
    read = "readings of inclinations and turning plates" if walk.parts else "inclinations of the floor"
    lines = [f"{walk.name} walk: {distances} distances, {tilts} {read}"]
    if in_full:
        news = [result for result in walk.results if not _is_of_default(walk, result)]
        lines += [f"  {_result_line(layout, walk, result)}" for result in news]
    if walk.undetermined:
        lines.append(f"  not determined: {', '.join(walk.undetermined)}")
    if walk.cure:
        lines.append(f"  spare shots that would help: {', '.join(walk.cure)}")
    return [*lines, f"  {_visible_line(walk)}"]


def _is_of_default(walk: WalkProof, result: Result) -> bool:
    """Tell whether a walk with optional parts only repeats what the default walk has said."""
    return bool(walk.parts) and not any(word in result.key for word in _OF_PARTS)


_OF_PARTS = (".camber.", ".caster.", ".kpi.", ".turn.", ".toe-out-on-turns.", ".ackermann.", ".frame.")


def _result_line(layout: Layout, walk: WalkProof, result: Result) -> str:
    # the wheels' own angles have bounds of their own, which no layout states
    bound = "" if walk.parts else f" (at most {_bound_of(layout, result):g})"
    missing = "" if result.value is not None else "  NOT DETERMINED"
    digits = 3 if result.unit == "deg" else 2
    return f"{result.key:44} u {_shown_u(result):.{digits}f} {result.unit}{bound}{missing}"


def _shown_u(result: Result) -> float:
    """Return the expected standard uncertainty in the result's unit."""
    return math.degrees(result.forecast_u) if result.unit == "deg" else 1000 * result.forecast_u


def _bound_of(layout: Layout, result: Result) -> float:
    """Return the layout's bound for it, in the result's unit."""
    return layout.most_u_deg if result.unit == "deg" else layout.most_u_mm


def _visible_line(walk: WalkProof) -> str:
    if not walk.smallest_visible:
        return "no distance is shot"
    sizes = sorted(walk.smallest_visible.items(), key=lambda item: item[1])
    middle, (worst, largest) = sizes[len(sizes) // 2][1], sizes[-1]
    words = f"smallest slip seen in a shot: {_mm(middle)} usually, {_mm(largest)} in {worst}"
    if unseen := walk.unseen:
        more = f" and {len(unseen) - _NAMED} more" if len(unseen) > _NAMED else ""
        words += f"; a slip of 10 mm would go unseen in {', '.join(unseen[:_NAMED])}{more}"
    return words


def _mm(metres: float) -> str:
    return "none of any size" if math.isinf(metres) else f"{1000 * metres:.1f} mm"


def _body(layout: Layout, check: LayoutCheck, text: str) -> dict[str, Any]:
    return {
        "faults": [
            {"line": _line(text, fault) or None, "words": fault.words, "do": fault.do} for fault in check.faults
        ],
        "walks": [_walk_body(layout, walk) for walk in check.walks],
    }


def _walk_body(layout: Layout, walk: WalkProof) -> dict[str, Any]:
    return {
        "procedure": walk.procedure,
        "parts": list(walk.parts),
        "shots": [shot.id for shot in walk.shots],
        "distances": len(walk.smallest_visible),
        "results": [
            {
                "key": result.key, "unit": result.unit, "u": _shown_u(result), "bound": _bound_of(layout, result),
                "determined": result.value is not None,
            }
            for result in walk.results
        ],
        "undetermined": list(walk.undetermined),
        "cure": list(walk.cure),
        "smallest_visible_mm": {
            name: None if math.isinf(size) else 1000 * size for name, size in walk.smallest_visible.items()
        },
        "unseen": list(walk.unseen),
    }  # fmt: skip
