"""What the angles found mean on the road, in plain figures for a customer; derived, and marked so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from axledger.geometry.consequence import DERIVED, rear_offset_m, sideways_m_per_km
from axledger.job.layout import Axle, AxleKind, Layout, Unit
from axledger.job.settings import MountKind
from axledger.job.solution import Result

__all__ = ["Consequence", "consequences_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Consequence:
    """``words`` for print; ``sideways_m_per_km`` of an axle, or ``rear_offset_m`` of a unit; sign left positive."""

    key: str
    words: str
    sideways_m_per_km: float | None = None
    rear_offset_m: float | None = None


def consequences_of(layout: Layout, results: Sequence[Result]) -> tuple[Consequence, ...]:
    """Return what each unsteered axle is dragged sideways, and how far the rear of each unit runs beside its front."""
    yaws = {one.key.rpartition(".")[0]: one for one in results if one.key.endswith(".squareness")}
    return tuple(one for unit in layout.unit for one in (*_axles(unit, yaws), *_rear(unit, yaws)))


def _axles(unit: Unit, yaws: Mapping[str, Result]) -> Iterator[Consequence]:
    for axle in unit.axle:
        result = yaws.get(f"{unit.id}.{axle.id}")
        if axle.kind is AxleKind.STEER or result is None or result.value is None:
            continue
        sideways = sideways_m_per_km(result.value)
        way = "left" if sideways >= 0 else "right"
        yield Consequence(
            key=result.key,
            words=f"{axle.name} pulls to the {way}: {abs(sideways):.1f} m sideways in a kilometre ({DERIVED})",
            sideways_m_per_km=sideways,
        )


def _rear(unit: Unit, yaws: Mapping[str, Result]) -> Iterator[Consequence]:
    rear = _rear_group(unit)
    values = [result.value for axle in rear if (result := yaws.get(f"{unit.id}.{axle.id}")) is not None]
    known = [value for value in values if value is not None]
    front_m = _front_m(unit)
    if front_m is None or not rear or len(known) < len(rear):
        return
    length_m = front_m - sum(axle.x_m for axle in rear) / len(rear)
    # an axle that points left drives the rear to the left of the front
    offset_m = rear_offset_m(sum(known) / len(known), length_m)
    way = "left" if offset_m >= 0 else "right"
    yield Consequence(
        key=unit.id,
        words=f"the rear of the {unit.name} runs {abs(offset_m) * 1000:.0f} mm to the {way} of its front ({DERIVED})",
        rear_offset_m=offset_m,
    )


def _rear_group(unit: Unit) -> list[Axle]:
    unsteered = [axle for axle in unit.axle if axle.kind is not AxleKind.STEER]
    driven = [axle for axle in unsteered if axle.kind is AxleKind.DRIVEN]
    name = (driven or unsteered[-1:] or list(unit.axle))[0].group
    return [axle for axle in unsteered if axle.group == name]


def _front_m(unit: Unit) -> float | None:
    """Return where the unit is steered: at its coupling pin, else at its first axle where that steers."""
    pin = next((mount.x_m for mount in unit.mount if mount.kind is MountKind.PIN), None)
    return pin if pin is not None else unit.axle[0].x_m if unit.axle[0].kind is AxleKind.STEER else None
