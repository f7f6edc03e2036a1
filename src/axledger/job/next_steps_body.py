"""Findings, advice and moves as JSON data: SI units unless a name says otherwise, ``null`` where there is none."""

from __future__ import annotations

import math
from typing import Any

from axledger.job.advice import Advice
from axledger.job.findings import Finding, Findings
from axledger.job.moves import Expected, Move
from axledger.job.next_steps import NextSteps
from axledger.job.outlook import Outlook

__all__ = ["finding_body", "next_steps_body"]


def next_steps_body(steps: NextSteps) -> dict[str, Any]:
    """Return all of it as JSON data."""
    return {
        "findings": [finding_body(finding) for finding in steps.suspected],
        "tests": _tests_body(steps.findings),
        "settings": list(steps.settings),
        "proofs": list(steps.proofs),
        "consequences": [
            {
                "key": one.key,
                "words": one.words,
                "sideways_m_per_km": one.sideways_m_per_km,
                "rear_offset_m": one.rear_offset_m,
            }
            for one in steps.consequences
        ],
        "measure_next": [_advice_body(one) for one in steps.advice],
        "outlooks": [_outlook_body(one) for one in steps.outlooks],
        "moves": [_move_body(move, made=steps.is_made(move)) for move in steps.moves.moves],
        "expected": [_expected_body(one) for one in steps.moves.predicted],
        "cannot": list(steps.moves.cannot),
        "measure_first": list(steps.moves.measure_first),
    }


def finding_body(finding: Finding) -> dict[str, Any]:
    """Return a finding as JSON data; ``rivals`` are what the readings cannot tell from it."""
    return {
        "slip": finding.slip,
        "shots": list(finding.shots),
        "words": finding.words,
        "size_si": _finite(finding.size_si),
        "drop": _finite(finding.drop),
        "cure": {"act": finding.cure.act, "arguments": dict(finding.cure.arguments), "words": finding.cure.words},
        "rivals": [finding_body(rival) for rival in finding.rivals],
    }


def _tests_body(findings: Findings) -> dict[str, Any]:
    whole = findings.global_test
    return {
        "false_alarm_per_job": findings.false_alarm,
        "whole": {
            "statistic": _finite(whole.statistic), "freedom": _finite(whole.freedom), "limit": _finite(whole.limit),
            "passed": bool(whole.passed),
        },
        "smallest_visible_si": {shot: _finite(size) for shot, size in findings.smallest_visible.items()},
        "cannot_see": list(findings.cannot_see),
    }  # fmt: skip


def _finite(number: float | None) -> float | None:
    """Return ``number`` as JSON can hold it: a slip of any size that stays unseen has no smallest visible one."""
    return float(number) if number is not None and math.isfinite(number) else None


def _advice_body(one: Advice) -> dict[str, Any]:
    return {
        "kind": one.kind, "shot": one.shot, "words": one.words, "needed": one.needed, "chance": _finite(one.chance),
        "seconds": one.seconds, "act": one.act, "arguments": dict(one.arguments),
        "helps": {key: {"u_now": _finite(now), "u_then": _finite(then)} for key, (now, then) in one.helps.items()},
    }  # fmt: skip


def _outlook_body(one: Outlook) -> dict[str, Any]:
    return {
        "key": one.key, "reached": bool(one.reached), "u_wanted": _finite(one.wanted), "u_reached": _finite(one.u),
        "chance": _finite(one.chance), "steps": list(one.steps), "seconds": one.seconds, "words": one.words,
    }  # fmt: skip


def _move_body(move: Move, *, made: bool) -> dict[str, Any]:
    return {
        "adjuster": move.adjuster, "unit": move.unit, "axle": move.axle_name, "end": move.end, "way": move.way,
        "amount_mm": move.amount_mm, "signed_mm": move.signed_mm, "steps": move.steps, "turns": move.turns,
        "words": move.words, "made": made,
    }  # fmt: skip


def _expected_body(one: Expected) -> dict[str, Any]:
    return {
        "key": one.key, "unit": one.unit, "before": _finite(one.before), "after": _finite(one.after),
        "u": _finite(one.u), "verdict": one.verdict.value, "probability": _finite(one.probability),
    }  # fmt: skip
