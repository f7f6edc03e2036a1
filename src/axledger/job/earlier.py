"""An axle as it stood before it was moved: its own place, or its own steering, beside the present one.

A follow-up round is solved together with the round before: what was moved has a place of its own in each, all else
is shared, so that targets left on keep what was learnt of them.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

from axledger.geometry.results import AxleGeometry

__all__ = ["NOW", "Before", "as_it_stood"]

Before = tuple[int, int]
"""How many times the axle has been moved since, and how many times its wheels have been turned."""

NOW: Before = (0, 0)


class _Priors(Protocol):
    @property
    def along_m(self) -> float: ...
    @property
    def aside_m(self) -> float: ...
    @property
    def yaw_rad(self) -> float: ...
    @property
    def steer_rad(self) -> float: ...


class _Adds(Protocol):
    def add(self, name: str, sd: float, mean: float = 0.0) -> int: ...


def as_it_stood(parameters: _Adds, name: str, axle: AxleGeometry, before: Before, priors: _Priors) -> AxleGeometry:
    """Return ``axle`` with parameters of its own for what has been moved since; ``name`` is theirs."""
    moved, turned = before
    if moved:
        since = f"before{moved}"
        axle = replace(
            axle,
            x=parameters.add(f"{name}.x.{since}", priors.along_m),
            y=parameters.add(f"{name}.y.{since}", priors.aside_m),
            yaw=parameters.add(f"{name}.yaw.{since}", priors.yaw_rad),
        )
    if turned and axle.steer is not None:
        left, right = (
            parameters.add(f"{name}.steer.{side}.before{turned}", priors.steer_rad) for side in ("L", "R")
        )  # fmt: skip
        axle = replace(axle, steer=(left, right))
    return axle
