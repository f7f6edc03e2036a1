"""What the jobs of a campaign are to be: drawn from its seed and their numbers, never from what ran before."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from axledger.job.layout import Layout, Part, Procedure
from axledger.job.plan import Chosen, plan_shots
from axledger.job.settings import MountKind
from axledger_simulators.blunders import Blunder
from axledger_simulators.campaign_walk import JobDraw, layout_named
from axledger_simulators.noise import Shape
from axledger_simulators.planting import PlantedFaults

__all__ = ["CampaignPlan", "History", "draw_rows"]

History = Literal["first", "enrolled", "settled"]

_SHAPES: tuple[Shape, ...] = ("uniform", "laplace")
"""Setting errors are drawn from these in turn; the solver takes them for normal."""
_METERS = ((0.0007, "metre-line-fine"), (0.0003, "metre-line-fine"), (0.0007, "metre-line"))
"""Repeatability (m) and line form; the last shows whole millimetres."""
_PROCEDURES: tuple[Procedure, ...] = ("default", "default", "short", "thorough")
_WITHOUT_TURNS, _WITH_PARTS = 0.1, 0.25
_SETTLED_FROM = 19
"""Jobs of a row that come before the first that counts, where history is to have settled: the twentieth counts."""
_SETTLED_ROW = 40
_MOST_SEED = 1 << 31
_OF_ROW, _OF_JOB = 1, 2  # apart by number: a seed that ends in zeros is the same as one without them


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignPlan:
    """What is asked of a campaign. ``None`` for meter, repeats or procedure: drawn by lot.

    ``slip`` is a kind, "mixed" (all kinds and clean jobs in turn) or "none"; jobs with slips take a whole plan with
    its turns, a 0.7 mm meter and two repeats unless said otherwise. ``settings`` multiplies all setting errors.
    ``history``: each job the first of its targets; the first with ``enrolled`` targets; or ``settled``, the twentieth
    to fortieth of a row with targets never enrolled. ``in_a_row`` is how many jobs each row has, 0: as ``history``
    wants. ``bend_mm`` bends one hub target half-way along the row. ``mend``: work on vehicles as advised.
    """

    seed: int
    layouts: tuple[str, ...]
    limits: str = "example-fleet"
    slip: str = "none"
    settings: float = 1.0
    history: History = "first"
    in_a_row: int = 0
    bend_mm: float = 0.0
    at_limit: bool = False
    mend: bool = False
    meter_mm: float | None = None
    repeats: int | None = None
    procedure: Procedure | None = None

    @property
    def row(self) -> int:
        """Return how many jobs a row has."""
        return self.in_a_row or (_SETTLED_ROW if self.history == "settled" else 1)

    @property
    def uncounted(self) -> int:
        """Return how many jobs of a row come before the first that counts."""
        return min(_SETTLED_FROM, self.row - 1) if self.history == "settled" else 0


def draw_rows(plan: CampaignPlan, jobs: int) -> list[list[JobDraw]]:
    """Return rows with ``jobs`` counted jobs in all; the last row may be shorter."""
    rows: list[list[JobDraw]] = []
    left = jobs
    while left > 0:
        length = min(plan.row, left + plan.uncounted)
        rows.append(list(_row(plan, len(rows), length)))
        left -= length - plan.uncounted
    return rows


def _row(plan: CampaignPlan, row: int, length: int) -> Iterator[JobDraw]:
    rng = np.random.default_rng([plan.seed, _OF_ROW, row])
    kit_seed = int(rng.integers(1, _MOST_SEED))
    repeatability_m, form = _METERS[int(rng.integers(len(_METERS)))]
    if plan.meter_mm is not None or plan.slip != "none":
        repeatability_m, form = (plan.meter_mm or 0.7) / 1000, "metre-line-fine"
    name = plan.layouts[row % len(plan.layouts)]
    bent = _bent(layout_named(name), rng) if plan.bend_mm else ""
    for place in range(length):
        own = np.random.default_rng([plan.seed, _OF_JOB, row, place])
        bends: dict[str, float] = {bent: plan.bend_mm} if bent and place >= plan.row // 2 else {}
        yield JobDraw(
            number=row * plan.row + place,
            seed=int(own.integers(1, _MOST_SEED)),
            layout=name,
            limits=plan.limits,
            repeatability_m=repeatability_m,
            form=form,
            repeats=plan.repeats or (2 if plan.slip != "none" else int(own.integers(1, 3))),
            chosen=_chosen(plan, layout_named(name), own),
            faults=PlantedFaults(
                settings=plan.settings, unevenness=float(own.uniform(0.5, 1.5)), shapes=_SHAPES, bent_mm=bends
            ),
            kit_seed=kit_seed,
            row=row,
            place=place,
            enrolled=plan.history == "enrolled",
            counted=place >= plan.uncounted,
            blunder=_blunder(plan, row),
            at_limit=plan.at_limit,
            mend=plan.mend,
        )


def _bent(layout: Layout, rng: np.random.Generator) -> str:
    """Choose the hub target that bends."""
    sides = {1: "L", -1: "R"}
    hubs = [
        f"{mount.axle}{sides[side]}h" for unit in layout.unit for mount in unit.mount if mount.kind is MountKind.HUB
        for side in sides
    ]  # fmt: skip
    return hubs[int(rng.integers(len(hubs)))] if hubs else ""


def _chosen(plan: CampaignPlan, layout: Layout, rng: np.random.Generator) -> Chosen:
    """Draw how much of the walk is taken; what the layout has no shots for becomes the default walk."""
    procedure = plan.procedure or _PROCEDURES[int(rng.integers(len(_PROCEDURES)))]
    turns, parts = rng.random() >= _WITHOUT_TURNS, rng.random() < _WITH_PARTS
    if plan.slip != "none":
        return Chosen(procedure=plan.procedure or "default")
    offered: set[Part] = {stand.part for unit in layout.unit for stand in unit.stand if parts and stand.part}
    chosen = Chosen(procedure=procedure, turns=bool(turns) or plan.procedure is not None, parts=frozenset(offered))
    if any(shot.kind == "distance" for shot in plan_shots(layout, chosen=chosen)):
        return chosen
    return Chosen(parts=frozenset(offered))


def _blunder(plan: CampaignPlan, row: int) -> Blunder | None:
    if plan.slip == "none":
        return None
    if plan.slip != "mixed":
        return Blunder(plan.slip)
    turn: tuple[Blunder | None, ...] = (*Blunder, None)
    block, layout = divmod(row, len(plan.layouts))
    return turn[(block + layout) % len(turn)]
