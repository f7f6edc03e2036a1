"""Findings: which slips the readings give away, in a person's words, each with the one step that cures it.

Nothing is corrected here. A finding names the slip that explains the contradiction best and those that the readings
cannot tell from it; a person takes the cure, or does not. A whole vehicle whose left and right were called each
other's names throughout is a mirror image: no distance can show that, and the findings say so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from axledger.geometry.hypothesis import solve
from axledger.geometry.reliability import GlobalTest, critical_w, detectability, global_test, smallest_bias
from axledger.job.plan import Shot
from axledger.job.proof import lines_of
from axledger.job.slip_guesses import Guess
from axledger.job.slip_scene import Scene, Stations, Taken, scene_at, taken_shots
from axledger.job.slip_search import Explained, search
from axledger.job.slip_words import cure_of, shot_anew, words_of
from axledger.job.solution import Solution, Solver

if TYPE_CHECKING:
    from axledger.job.fold import JobFold

__all__ = [
    "FALSE_ALARM",
    "MIRROR",
    "Cure",
    "Finding",
    "Findings",
    "findings_in",
    "findings_of",
    "smallest_visible",
    "told_of",
]

FALSE_ALARM = 0.01
"""How often a whole clean job may raise a finding."""
_TESTS_A_SHOT = 3
"""About how many independent explanations each shot takes part in; simulated, with noise of heavier tails."""
POWER = 0.80
"""The smallest visible slip is the one found with this probability."""
MIRROR = "that left and right were exchanged on the whole vehicle throughout: a mirror image fits every distance alike"
_OF_VEHICLE = frozenset({
    "steer", "floor", "camber", "caster", "kpi", "turned-out", "turned-in", "run-out", "level",
})  # fmt: skip
_UNEXPLAINED = 1e-5
"""Level of the global test below which contradictions that no single slip explains are a finding of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """One step of an existing act: ``JobRun.act(act, **arguments)`` takes it; ``words`` tell a person."""

    act: str
    arguments: Mapping[str, Any]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One slip: which ``shots`` it touches (the suspect first), what happened in ``words``, and its ``cure``.

    ``drop`` is by how much the weighted square sum would fall; ``size_si`` the estimated size, m, rad or a ratio.
    ``rivals`` are explanations that the readings cannot tell from this one.
    """

    slip: str
    shots: tuple[str, ...]
    words: str
    cure: Cure
    drop: float
    size_si: float | None
    rivals: tuple[Finding, ...] = ()

    @property
    def told(self) -> str:
        """Return the words with those of the rivals: all of them are as likely."""
        return ", or ".join((self.words, *(rival.words for rival in self.rivals)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """The findings of a round, strongest first; empty where nothing is significant at the job-wide rate.

    ``smallest_visible`` maps a shot to the smallest slip in it that is found with 80 % power, m or rad (inf: none
    would be). ``cannot_see`` says what no test of these readings can show.
    """

    findings: tuple[Finding, ...]
    false_alarm: float
    global_test: GlobalTest
    smallest_visible: Mapping[str, float]
    cannot_see: tuple[str, ...] = (MIRROR,)


def findings_of(fold: JobFold, round_number: int | None = None) -> Findings:
    """Return the findings of a round (default: the present one), worked out once per board."""
    number = fold.board.round if round_number is None else round_number
    if fold.work is None or (solution := fold.solution(number)) is None:
        return _nothing()
    kept = fold.work.findings.get(number)
    if kept is None or kept[0] is not fold.board:
        kept = fold.work.findings[number] = (fold.board, _found(fold, number, solution))
    return kept[1]


def _nothing() -> Findings:
    return Findings(
        findings=(), false_alarm=FALSE_ALARM, global_test=global_test(0.0, 0.0, FALSE_ALARM), smallest_visible={}
    )


def _found(fold: JobFold, number: int, solution: Solution) -> Findings:
    shots = taken_shots(fold, number)
    if not shots or fold.work is None:
        return _nothing()
    return findings_in(fold.work.stations, shots, solution, fold.work.solver)


def findings_in(stations: Stations, shots: Sequence[Taken], solution: Solution, solver: Solver) -> Findings:
    """Return the findings among ``shots``, which ``solution`` was solved from."""
    adjusted = solution.adjusted
    scene = scene_at(stations, shots, solution.model, solution.rows, adjusted.x, covariance=adjusted.covariance)
    least = least_drop_of(scene)
    found = tuple(_finding(scene, explained) for explained in search(scene, solver, least))
    tested = tested_as_a_whole(scene)
    if not found and (unexplained := _unexplained(scene, tested)) is not None:
        found = (unexplained,)
    return Findings(
        findings=found,
        false_alarm=FALSE_ALARM,
        global_test=tested,
        smallest_visible=_visible(scene, least**0.5),
    )


def least_drop_of(scene: Scene) -> float:
    """Return the drop below which nothing is a finding: the job-wide rate shared by all tests."""
    return critical_w(FALSE_ALARM, _TESTS_A_SHOT * len(scene.shots)) ** 2


def tested_as_a_whole(scene: Scene) -> GlobalTest:
    """Test the square sum of readings and settings; the layout's priors are weak on purpose and stay out.

    Their share of the square sum goes, and so do their redundancies: what remains has as its expectation the
    redundancies of readings and settings, which is its freedom.
    """
    linear, model = scene.linear, scene.model
    settings = np.array([not name_is_of_layout(name) for name in model.names])
    pulled = (model.prior - scene.x - linear.step) / model.prior_sd
    own = 1.0 - np.diag(linear.covariance) / model.prior_sd**2
    statistic = float((linear.misfit / linear.sd) @ (linear.misfit / linear.sd) + pulled[settings] @ pulled[settings])
    return global_test(statistic, float(linear.redundancy.sum() + own[settings].sum()), FALSE_ALARM)


def name_is_of_layout(name: str) -> bool:
    """Tell whether a parameter's prior is the layout's rough word, not a setting's or an instrument's."""
    parts = [part for part in name.split(".") if not part.startswith("before")]  # as an axle stood before its move
    return parts[-1] in ("x", "y", "yaw", "along", "span", "pitch") or not _OF_VEHICLE.isdisjoint(parts)


def _visible(scene: Scene, critical: float) -> dict[str, float]:
    linear = scene.linear
    least = smallest_bias(linear.sd, linear.redundancy, detectability(critical, POWER))
    return {taken.shot.id: size for taken, size in zip(scene.shots, least.tolist(), strict=True)}


def _finding(scene: Scene, explained: Explained) -> Finding:
    return told_of(scene, explained.best, tuple(told_of(scene, rival) for rival in explained.rivals))


def told_of(scene: Scene, guess: Guess, rivals: tuple[Finding, ...] = ()) -> Finding:
    """Return a guess as a finding, in words and with its cure."""
    act, arguments, words = cure_of(scene, guess)
    return Finding(
        slip=guess.slip,
        shots=tuple(scene.shots[number].shot.id for number in guess.shots),
        words=words_of(scene, guess),
        cure=Cure(act=act, arguments=arguments, words=words),
        drop=guess.drop,
        size_si=guess.size,
        rivals=rivals,
    )


def _unexplained(scene: Scene, tested: GlobalTest) -> Finding | None:
    again = global_test(tested.statistic, tested.freedom, _UNEXPLAINED)
    if again.passed:
        return None
    suspect = scene.shots[int(np.argmax(np.abs(scene.w)))]
    worst = suspect.shot.id
    words = f"the readings contradict each other and no single slip explains it; {worst} fits worst"
    retake = ("retake", {"shot": worst}, f"shoot {worst} again")
    act, arguments, words_of_cure = shot_anew(worst) if suspect.earlier else retake
    cure = Cure(act=act, arguments=arguments, words=words_of_cure)
    return Finding(
        slip="unexplained", shots=(worst,), words=words, cure=cure, drop=tested.statistic - again.limit, size_si=None
    )


def smallest_visible(solver: Solver, shots: Sequence[Shot], repeats: int) -> dict[str, float]:
    """Return for each shot of a plan the smallest slip found with 80 % power, m or rad, before anything is read.

    The repeats of a shot share its slip, so they make its mean better and check nothing. Taken at the layout's
    nominal geometry; inf where nothing would show a slip.
    """
    lines = lines_of(shots)
    model, rows = solver.model_of(sorted(set(lines.values()), key=repr))
    _, jacobian = model.network.predict(model.prior)
    own = [rows[lines[shot.id]] for shot in shots]
    sd = model.sd[own] / repeats**0.5
    linear = solve(jacobian[own], np.zeros(len(own)), sd, np.zeros(len(model.prior)), model.prior_sd)
    delta0 = detectability(critical_w(FALSE_ALARM, _TESTS_A_SHOT * len(shots)), POWER)
    sizes = smallest_bias(sd, linear.redundancy, delta0).tolist()
    return {shot.id: size for shot, size in zip(shots, sizes, strict=True)}
