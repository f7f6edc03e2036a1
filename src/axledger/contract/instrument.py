"""An instrument's record: what the solver needs to know of a meter, and who it is.

The record is a fact in the ledger; corrections never change an arrival.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from axledger.contract.quantity import Quantity

__all__ = ["Instrument", "QuantityRecord"]


class QuantityRecord(BaseModel):
    """What is known of one quantity of an instrument, in SI (m or rad; scale is a pure number).

    ``repeatability`` is the standard deviation of one reading, ``resolution`` one display step,
    ``zero`` is added to a reading to correct it (``u_zero`` its standard uncertainty), ``scale`` is the
    correction per unit reading (true = reading + zero + scale * reading), ``u_scale`` its uncertainty.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    repeatability: Annotated[float, Field(gt=0)]
    resolution: Annotated[float, Field(ge=0)]
    zero: float = 0.0
    u_zero: Annotated[float, Field(ge=0)]
    scale: float = 0.0
    u_scale: Annotated[float, Field(ge=0)] = 0.0


class Instrument(BaseModel):
    """One physical device: own ``name``, ``serial`` text, ``profile`` and ``address``, and its quantities.

    ``last_check`` is an RFC 3339 date or date-time or ``None`` (never checked).
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,40}$")]
    serial: str = ""
    profile: str
    address: str
    edge: str = ""
    """The reference edge its zero is stated for, by the profile's name of it; empty where the profile has one only."""
    identity: dict[str, str] = {}
    quantities: dict[Quantity, QuantityRecord]
    last_check: str | None = None
    state: Literal["in use", "quarantined", "retired"] = "in use"
    note: str = ""
