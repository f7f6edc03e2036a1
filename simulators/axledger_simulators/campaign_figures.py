"""What a campaign says in the end: counts and shares over its jobs, as JSON data and as text."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from axledger_simulators.campaign_job import JobOutcome, StatedResult
from axledger_simulators.mending import Mended
from axledger_simulators.slip_outcome import SlipOutcome

__all__ = ["CLASSES", "figures", "truth_class", "words"]

CLASSES = ("inside by >= 2U", "near a limit", "outside by >= 2U")
_OVER_M = 0.004
_EXCHANGES = ("swap", "swap-pair", "swap-axle")
_FAR_U = 3.0
_GUARD_U = 1.65  # the default decision rule's guard band, see axledger.geometry.conformity

Json = dict[str, Any]


def figures(outcomes: Sequence[JobOutcome], *, seconds: float) -> Json:
    """Return the figures of a campaign.

    Only clean jobs that count are used for coverage, verdicts, limits and false alarms.
    """
    clean = [outcome for outcome in outcomes if outcome.clean and outcome.draw.counted]
    results = [result for outcome in clean for result in outcome.results]
    return {
        "jobs": len(outcomes),
        "clean_jobs": len(clean),
        "layouts": dict(sorted(Counter(outcome.draw.layout for outcome in outcomes).items())),
        "coverage": _coverage(results),
        "verdicts": _verdicts(results),
        "beyond_guard": _beyond_guard(results),
        "at_limit": _at_limit(results),
        "slips": _slips([outcome.slip for outcome in outcomes if outcome.slip is not None]),
        "settings": _settings(outcomes),
        "bend": _bend(outcomes),
        "mended": _mended([outcome.mended for outcome in outcomes if outcome.mended is not None]),
        "false_alarm_jobs": sum(outcome.alarm for outcome in clean),
        "jobs_with_held": sum(outcome.held > 0 for outcome in clean),
        "shots": sum(outcome.shots for outcome in outcomes),
        "readings": sum(outcome.readings for outcome in outcomes),
        "seconds": round(seconds, 3),
        "job_seconds": round(sum(outcome.seconds for outcome in outcomes), 3),
    }


def _coverage(results: Sequence[StatedResult]) -> Json:
    kinds = sorted({result.kind for result in results})
    return {kind: _covered([result for result in results if result.kind == kind]) for kind in [*kinds]} | {
        "all": _covered(results)
    }


def _covered(results: Iterable[StatedResult]) -> Json:
    """Return how often the truth lies within the stated 95 % interval, and the mean of ((value - truth) / u)^2."""
    known = [(r, r.value, r.u, r.low, r.high) for r in results]
    inside, squares = 0, list[float]()
    for result, value, u, low, high in known:
        if value is None or u is None or low is None or high is None:
            continue
        inside += low <= result.truth <= high
        squares.append(((value - result.truth) / u) ** 2)
    return {"n": len(squares), "inside": inside, "nees": _mean(squares), "not_determined": len(known) - len(squares)}


def _mean(numbers: Sequence[float]) -> float | None:
    return round(sum(numbers) / len(numbers), 6) if numbers else None


def _room(result: StatedResult) -> float | None:
    """Return how far inside its nearest limit the truth is (outside: negative); ``None`` without a limit."""
    rooms = [
        *([] if result.lower is None else [result.truth - result.lower]),
        *([] if result.upper is None else [result.upper - result.truth]),
    ]
    return min(rooms, default=None)


def truth_class(result: StatedResult) -> str | None:
    """Return the class of a result's truth; ``None`` without a limit or where nothing was determined."""
    room = _room(result)
    if room is None or result.u95 is None:
        return None
    if abs(room) < 2.0 * result.u95:
        return CLASSES[1]
    return CLASSES[0] if room > 0 else CLASSES[2]


def _verdicts(results: Sequence[StatedResult]) -> Json:
    counts = {name: Counter[str]() for name in CLASSES}
    for result in results:
        if (name := truth_class(result)) is not None and not result.at_limit:
            counts[name][result.verdict] += 1
    verdicts = ("conforms", "does not conform", "undecided")
    return {name: {verdict: count[verdict] for verdict in verdicts} for name, count in counts.items()}


def _beyond_guard(results: Sequence[StatedResult]) -> Json:
    """Count truths 3 u or more beyond the guard band, on either side of a limit, and how many of them are decided."""
    far = [r for r in results if (room := _room(r)) is not None and r.u and abs(room) >= (_FAR_U + _GUARD_U) * r.u]
    return {"n": len(far), "decided": sum(r.verdict in ("conforms", "does not conform") for r in far)}


def _at_limit(results: Sequence[StatedResult]) -> Json:
    exact = [result for result in results if result.at_limit and result.value is not None]
    return {"n": len(exact), "conforms": sum(result.verdict == "conforms" for result in exact)}


def _slips(slips: Sequence[SlipOutcome]) -> Json:
    kinds = {name: [slip for slip in slips if slip.blunder == name] for name in sorted({s.blunder for s in slips})}
    for name in _EXCHANGES:
        if name in kinds:
            kinds[f"{name}, over 4 mm"] = [slip for slip in kinds[name] if slip.size_m > _OVER_M]
    return {name: _of_kind(of_kind) for name, of_kind in kinds.items()}


def _of_kind(slips: Sequence[SlipOutcome]) -> Json:
    counted: dict[str, Callable[[SlipOutcome], bool]] = {
        "detectable": lambda slip: slip.detectable,
        "found": lambda slip: slip.found,
        "named": lambda slip: slip.named,
        "in_a_pair": lambda slip: slip.in_pair,
        "detectable_found": lambda slip: slip.detectable and slip.found,
        "too_small_with_effect_below_U": lambda slip: slip.harmless,
        "missed_with_effect_above_U": lambda slip: not slip.found and not slip.harmless,
        "held_at_once": lambda slip: slip.held,
        "at_once": lambda slip: slip.named_at_once,
        "named_with_the_pair": lambda slip: slip.named_with_pair,
        "wrong_name_conforms": lambda slip: slip.misled > 0,
    }
    return {"planted": len(slips)} | {name: sum(map(test, slips)) for name, test in counted.items()}


def _settings(outcomes: Sequence[JobOutcome]) -> Json:
    """Return what settings really were and what they were taken as (geometric mean over counted jobs), by kind.

    ``shown_by_job``: in how many rows the kind's alarm was given in the first job, by the second, and so on.
    """
    kinds = sorted({kind for outcome in outcomes for kind in outcome.settings.factor})
    rows = _rows(outcomes)
    longest = max((len(row) for row in rows), default=0)
    taken = {
        kind: [o.settings.factor[kind] for o in outcomes if o.draw.counted and kind in o.settings.factor]
        for kind in kinds
    }
    shown = {
        kind: [sum(any(kind in o.settings.kind_alarms for o in row[: n + 1]) for row in rows) for n in range(longest)]
        for kind in kinds
    }
    return {
        "factor": sorted({outcome.draw.faults.settings for outcome in outcomes}),
        "taken_as": {
            kind: round(math.exp(sum(map(math.log, factors)) / len(factors)), 4)
            for kind, factors in taken.items()
            if factors
        },
        "rows": len(rows),
        "shown_by_job": shown,
    }


def _rows(outcomes: Sequence[JobOutcome]) -> list[list[JobOutcome]]:
    rows: dict[int, list[JobOutcome]] = {}
    for outcome in sorted(outcomes, key=lambda one: one.draw.number):
        rows.setdefault(outcome.draw.row, []).append(outcome)
    return list(rows.values())


def _bend(outcomes: Sequence[JobOutcome]) -> Json:
    """Count bent targets by how many jobs it took to name them (0: never), and alarms of targets that were sound."""
    after = Counter[int]()
    sound = alarmed = 0
    for row in _rows(outcomes):
        bent = {target for outcome in row for target in outcome.draw.faults.bent_mm}
        for target in bent:
            since = [outcome for outcome in row if target in outcome.draw.faults.bent_mm]
            named = (n for n, outcome in enumerate(since, 1) if target in outcome.settings.target_alarms)
            after[next(named, 0)] += 1
        sound += len({target for outcome in row for target in outcome.settings.targets} - bent)
        alarmed += len({target for outcome in row for target in outcome.settings.target_alarms} - bent)
    return {
        "named_in_job": {str(jobs): count for jobs, count in sorted(after.items())},
        "sound_targets": sound,
        "sound_targets_alarmed": alarmed,
    }


def _mended(jobs: Sequence[Mended]) -> Json:
    """Count vehicles whose limits the declared adjusters can meet, and those truly inside them after the work."""
    able = [job for job in jobs if job.reachable]
    return {
        "jobs": len(jobs),
        "reachable": len(able),
        "inside": sum(job.inside[-1] for job in able),
        "inside_where_decidable": sum(job.decidable[-1] for job in able),
        "promised": round(sum(job.promised for job in able), 3),
        "rounds": dict(sorted(Counter(str(len(job.moves)) for job in able).items())),
    }


def words(found: Mapping[str, Any]) -> str:
    """Return the figures as text."""
    rows = [
        f"{found['jobs']} jobs ({found['clean_jobs']} clean), {found['readings']} readings,"
        f" {found['seconds']:.0f} s; {found['job_seconds'] / max(found['jobs'], 1):.2f} s a job",
        f"false alarms in {found['false_alarm_jobs']} clean jobs; readings held in {found['jobs_with_held']}",
        "",
        f"{'result':32} {'n':>6} {'in u95':>8} {'nees':>6}",
    ]
    for kind, one in found["coverage"].items():
        share = f"{one['inside'] / one['n']:8.4f} {one['nees']:6.3f}" if one["n"] else "       -      -"
        rows.append(f"{kind:32} {one['n']:6} {share}")
    rows += ["", *_verdict_rows(found), *_settings_rows(found), *_slip_rows(found["slips"])]
    return "\n".join(rows)


def _verdict_rows(found: Mapping[str, Any]) -> list[str]:
    rows = [
        f"truth {name}: " + ", ".join(f"{verdict} {count}" for verdict, count in counts.items())
        for name, counts in found["verdicts"].items()
    ]
    far, exact = found["beyond_guard"], found["at_limit"]
    rows.append(f"truth 3 u beyond the guard band: {far['decided']} of {far['n']} decided")
    if exact["n"]:
        rows.append(f"truth exactly at a limit: {exact['conforms']} of {exact['n']} said to conform")
    return rows


def _settings_rows(found: Mapping[str, Any]) -> list[str]:
    settings, bend, mended = found["settings"], found["bend"], found["mended"]
    taken = ", ".join(f"{kind} {factor:.2f}" for kind, factor in settings["taken_as"].items())
    real = ", ".join(f"{factor:g}" for factor in settings["factor"])
    rows = [f"settings really {real} times stated, taken as: {taken}"]
    rows += [
        f"{kind}: shown worse than stated in {shown[-1]} of {settings['rows']} rows, by job: {shown}"
        for kind, shown in settings["shown_by_job"].items()
        if any(shown)
    ]
    if bend["named_in_job"]:
        rows.append(f"bent targets named in job (0: never): {bend['named_in_job']}")
    rows.append(f"alarms of sound targets: {bend['sound_targets_alarmed']} of {bend['sound_targets']}")
    if mended["jobs"]:
        rows.append(
            f"mended: {mended['inside']} of {mended['reachable']} inside all limits that adjusters can meet,"
            f" {mended['inside_where_decidable']} inside those that the measurement can decide;"
            f" rounds {mended['rounds']}"
        )
    return rows


def _slip_rows(slips: Mapping[str, Mapping[str, int]]) -> list[str]:
    if not slips:
        return []
    names = ("planted", "detectable", "found", "named", "in_a_pair", "held_at_once", "at_once")
    head = f"{'slip':24}" + "".join(f"{name.replace('_', ' '):>14}" for name in names)
    return ["", head, *(f"{kind:24}" + "".join(f"{one[name]:14}" for name in names) for kind, one in slips.items())]
