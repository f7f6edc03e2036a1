"""The lines simulated instruments send, by the shipped profile that reads them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

from axledger.contract.errors import UnknownName

__all__ = ["FORMS", "LineForm", "form_named"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineForm:
    """How one profile's device writes a measurement (``text``) and "could not measure" (``fault``).

    Format fields: ``length_m``, ``length_mm``, ``tilt_deg``, ``quality``, ``counter``. ``resolution_m`` is one
    display step. ``checked``: a first sign, the text, ``*`` and the exclusive or of the text in hex.
    """

    profile: str
    text: str
    fault: str
    resolution_m: float = 0.001
    checked: bool = False

    def measured(self, *, length_m: float, tilt_deg: float = 0.0, quality: int = 0, counter: int = 0) -> bytes:
        """Return the bytes of one measurement; the values are already rounded to the display steps."""
        # adding zero turns a negative zero into a plain one, which instruments do too
        line = self.text.format(
            length_m=length_m,
            length_mm=round(length_m * 1000),
            tilt_deg=tilt_deg + 0.0,
            quality=quality,
            counter=counter % 10_000,
        ).encode()
        return _with_check(line) if self.checked else line + b"\r\n"

    def failed(self, *, counter: int = 0) -> bytes:
        """Return the bytes of a failed measurement."""
        return self.fault.format(counter=counter % 10_000).encode() + b"\r\n"


def _with_check(line: bytes) -> bytes:
    check = reduce(lambda so_far, byte: so_far ^ byte, line[1:], 0)
    return line + f"*{check:02X}\r\n".encode()


FORMS: dict[str, LineForm] = {
    "metre-line": LineForm(profile="metre-line", text="{length_m:.3f}m", fault="ERR255"),
    "metre-line-fine": LineForm(profile="metre-line", text="{length_m:.4f}m", fault="ERR255", resolution_m=0.0001),
    "millimetre-quality": LineForm(profile="millimetre-quality", text="D:{length_mm:d}mm,{quality:04d}", fault="E:1"),
    "metre-tilt": LineForm(
        profile="metre-tilt",
        text="#{counter:04d},{length_m:.3f}m,{tilt_deg:+06.2f}d",
        fault="#{counter:04d},E01",
        checked=True,
    ),
    "polled-metre": LineForm(profile="polled-metre", text="D:{length_m:.3f}m,{quality:04d}", fault="D:Er01!"),
    "gatt-metre": LineForm(profile="gatt-metre", text="{length_m:.3f}m", fault="E255"),
}


def form_named(name: str) -> LineForm:
    """Return the form called ``name``; raise ``UnknownName`` with the known ones."""
    try:
        return FORMS[name]
    except KeyError as error:
        raise UnknownName("line form", name, sorted(FORMS)) from error
