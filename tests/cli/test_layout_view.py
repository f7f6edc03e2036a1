"""What ``axledger layouts check`` says of a layout."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any


def blocked_layout(folder: Path) -> Path:
    """Write a tractor whose walk aims from the left drive hub at the right end of the steer axle."""
    text = files("axledger.job").joinpath("layouts", "tractor-4x2.toml").read_text(encoding="utf-8")
    own = folder / "own.toml"
    own.write_text(text.replace('  { to = "S1Lh" },\n', '  { to = "S1Rh" },\n'), encoding="utf-8")
    return own


def test_a_layout_is_proved_walk_by_walk(done: Callable[..., str], done_json: Callable[..., Any]) -> None:
    said = done("layouts", "check", "semitrailer-2axle")
    assert said.startswith("semitrailer-2axle: in order (")
    for words in (
        "default walk: 18 distances, 4 inclinations of the floor",
        "trailer.axle2.parallelism                    u 0.0",
        "short walk: 8 distances",
        "not determined: trailer.axle1.squareness, trailer.axle1.offset",
        "thorough walk: 22 distances",
        "smallest slip seen in a shot: ",
    ):
        assert words in said
    found = done_json("layouts", "check", "semitrailer-2axle")
    assert (found["ok"], found["faults"]) == (True, [])
    walks = {walk["procedure"]: walk for walk in found["walks"]}
    assert [walks[name]["distances"] for name in ("short", "default", "thorough")] == [8, 18, 22]
    results = {result["key"]: result for result in walks["default"]["results"]}
    parallelism = results["trailer.axle2.parallelism"]
    assert (parallelism["unit"], parallelism["bound"], parallelism["determined"]) == ("deg", 0.06, True)
    assert 0.01 < parallelism["u"] < 0.03
    assert "trailer.axle1.offset" in walks["short"]["undetermined"]
    assert 2 < walks["default"]["smallest_visible_mm"]["K>T1Lh"] < 10


def test_optional_parts_and_unseen_slips_are_told(done: Callable[..., str]) -> None:
    said = done("layouts", "check", "tractor-4x2")
    assert "default + camber + sweep walk: 30 distances" in said
    assert "tractor.steer.caster.left" in said
    assert "a slip of 10 mm would go unseen in " in said
    assert " more" in said


def test_a_layout_with_a_blocked_line_is_not_in_order(run: Callable[..., tuple[int, str, str]], tmp_path: Path) -> None:
    own = blocked_layout(tmp_path)
    line = next(n for n, row in enumerate(own.read_text(encoding="utf-8").splitlines(), start=1) if "S1Rh" in row)
    code, out, err = run("layouts", "check", str(own))
    assert (code, err) == (1, "")
    assert out.startswith(f"{own}: NOT in order (")
    assert "D1Lh>S1Rh is blocked: own tyre in the way (" in out
    assert "BLOCKED" not in out
    assert "instead" in out
    code, out, _ = run("layouts", "check", str(own), "--json")
    found = json.loads(out)
    assert (code, found["ok"]) == (1, False)
    fault = found["faults"][0]
    assert fault["words"].startswith("D1Lh>S1Rh is blocked")
    assert line - 5 <= fault["line"] <= line
    assert fault["do"]


def test_a_job_on_such_a_layout_is_refused_before_it_starts(fails: Callable[..., str], tmp_path: Path) -> None:
    own = blocked_layout(tmp_path)
    told = fails(2, "job", "new", "--vehicle", str(own), "--person", "Ada")
    assert "tractor-4x2 cannot be measured as it is written" in told
    assert "D1Lh>S1Rh is blocked: own tyre in the way" in told
    assert "instead" in told
