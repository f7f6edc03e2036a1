"""What to do at a shot and what became of the last one, in words."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass, replace

from axledger.drawing.figures import Units, reading_words
from axledger.job.fold import Happening
from axledger.job.state import JobState, ReadingView, ShotView

__all__ = ["Taken", "expected_words", "shot_lines", "taken_lines", "target_large", "tilt_words"]

_TILTS = {
    "along": "along the vehicle",
    "along-turned": "along the vehicle, turned end for end",
    "across": "across the vehicle",
    "across-turned": "across the vehicle, turned end for end",
    "frame": "along the frame, plus when the front is higher",
    "face": "on the wheel's face, plus when the top leans out",
    "face-rolled": "on the wheel's face, after half a wheel turn",
    "face-out": "on the wheel's face, wheel turned out",
    "face-in": "on the wheel's face, wheel turned in",
    "level-out": "level in the wheel plane, plus when the front is higher; wheel turned out",
    "level-in": "level in the wheel plane, plus when the front is higher; wheel turned in",
    "plate-out": "wheel turned out: type what it shows, without a sign",
    "plate-in": "wheel turned in: type what it shows, without a sign",
}


def tilt_words(tilt: str) -> str:
    """Say how an inclinometer lies, or at which position a turning plate is read."""
    return _TILTS.get(tilt, tilt)


def target_large(view: ShotView | None) -> str:
    """Return what is written large for the next shot: its two stations, or the place of the inclinometer."""
    if view is None:
        return "DONE"
    return view.shot.start if view.shot.kind == "tilt" else f"{view.shot.start}>{view.shot.end}"


def shot_lines(view: ShotView, width: int) -> list[tuple[str, str]]:
    """Return ``(line, style)``: the turn first, since it comes first, then from where to where, then the rest."""
    shot = view.shot
    lines: list[tuple[str, str]] = []
    if shot.turn and view.turned is None:
        for target, words in zip(shot.turn, view.turn_words, strict=True):
            lines += _wrapped(f"TURN {target} half a turn, arrow down, first: {words}", width, "bold reverse")
    elif shot.turn:
        how = "left as they are" if view.turned == "not turned" else "turned"
        lines += _wrapped(f"{', '.join(shot.turn)}: {how}", width, "")
    if shot.kind == "tilt":
        lines += _wrapped(f"A {view.start_words}", width, "")
        instrument = "turning plate," if shot.tilt.startswith("plate-") else "inclinometer"
        lines += _wrapped(f"{instrument} {tilt_words(shot.tilt)}", width, "bold")
    else:
        lines += _wrapped(f"A {view.start_words}", width, "")
        lines += _wrapped(f"B {view.end_words}", width, "")
    for target, words in zip(shot.fold, view.fold_words, strict=True):
        lines += _wrapped(f"FOLD {target} out of the way: {words}", width, "bold")
    if shot.says:
        lines += _wrapped(shot.says, width, "")
    return lines


def _wrapped(words: str, width: int, style: str) -> list[tuple[str, str]]:
    return [(line, style) for line in textwrap.wrap(words, width, subsequent_indent="  ")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What was just taken: ``value`` for big letters, ``unit``, small ``heading``, ``why``, and whether to alarm."""

    value: str
    heading: str
    unit: str = ""
    why: str = ""
    alarm: bool = False

    def small(self) -> Taken:
        """Return the same with the value in the heading instead of in big letters."""
        return replace(self, value="", unit="", heading=f"{self.value} {self.unit} {self.heading}")


def taken_lines(state: JobState, told: Happening | None, units: Units) -> Taken:
    """Say what became of the last reading, or of the happening ``told`` where that was no reading at all."""
    if told is not None and told.kind == "refused":
        return Taken(value="---", heading="REFUSED", why=f"refused: {told.words}", alarm=True)
    lost = [link for link in state.links if link.state in ("lost", "silent")]
    if told is not None and told.kind == "link" and lost:
        words = f"{lost[0].instrument}: link {lost[0].state}" + (f", {lost[0].why}" if lost[0].why else "")
        return Taken(value="---", heading="LINK LOST", why=words, alarm=True)
    last = state.last
    if last is None:
        return Taken(value="", heading="nothing taken yet")
    return _of_reading(last, units)


def _of_reading(last: ReadingView, units: Units) -> Taken:
    value, unit = reading_words(last.value_si, last.unit, units).rsplit(" ", 1)
    where = f" for {last.shot}" if last.shot else ""
    why = f"reading {last.number} {last.state}: {last.why}" if last.why else ""
    if last.state == "accepted":
        return Taken(value=value, unit=unit, heading=f"accepted{where}", why=why)
    # a question mark as tall as the digits: the state is told by shape from afar
    return Taken(value=f"? {value}", unit=unit, heading=f"{last.state.upper()}{where}, not used", why=why, alarm=True)


def expected_words(view: ShotView, units: Units) -> str:
    """Return ``, about 4318 ± 4 mm`` (two standard deviations) where the shot can be predicted."""
    if view.predicted is None:
        return ""
    value, reach = view.predicted.value_si, 2.0 * view.predicted.sd_si
    if view.shot.kind == "tilt":
        return f", about {math.degrees(value):+.2f} ± {math.degrees(reach):.2f} deg"
    if units.length == "mm":
        return f", about {value * 1000:.0f} ± {max(1.0, reach * 1000):.0f} mm"
    return f", about {value / 0.0254:.2f} ± {max(0.01, reach / 0.0254):.2f} in"
