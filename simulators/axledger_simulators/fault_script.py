"""What a simulated instrument does wrong, and when: every n-th line, counted from one."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FaultScript"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultScript:
    """Each field is a period in shots; 0 means never.

    ``drop``: the line is lost. ``duplicate``: it is sent twice. ``corrupt``: one bit of one byte is wrong.
    ``device_fault``: the device says that it could not measure. ``weak``: the quality figure is bad.
    """

    drop: int = 0
    duplicate: int = 0
    corrupt: int = 0
    device_fault: int = 0
    weak: int = 0

    def due(self, period: int, shot: int) -> bool:
        """Tell whether a fault of that ``period`` falls on ``shot``."""
        return period > 0 and shot % period == 0

    def on_the_wire(self, line: bytes, shot: int, *, flip_at: int) -> bytes:
        """Return what arrives of ``line`` at ``shot``; a corrupt line has the lowest bit of byte ``flip_at`` turned."""
        if self.due(self.drop, shot):
            return b""
        if self.due(self.corrupt, shot):
            at = flip_at % len(line)
            line = line[:at] + bytes([line[at] ^ 0x01]) + line[at + 1 :]
        return line * 2 if self.due(self.duplicate, shot) else line
