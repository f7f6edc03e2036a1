"""Every module has a test twin.

The rule: ``<folder>/<package>/.../NAME.py`` is tested by ``tests/AREA/test_NAME.py``. AREA is the subpackage for
``axledger`` (``src/axledger/job/plan.py`` -> ``tests/job/test_plan.py``) and the top-level folder for the other three
(``drivers/axledger_drivers/decoders/line.py`` -> ``tests/drivers/test_line.py``). ``__init__`` and ``__main__`` hold
no logic and are judged by ``test_public_names``. Test files without a twin (whole jobs, crashes) are welcome.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = {
    "src": ROOT / "src" / "axledger",
    "drivers": ROOT / "drivers" / "axledger_drivers",
    "calibration": ROOT / "calibration" / "axledger_calibration",
    "simulators": ROOT / "simulators" / "axledger_simulators",
}
WITHOUT_TWIN = {
    "simulators/axledger_simulators/peers/peer.py": "a protocol only; its implementations have tests of their own",
}


def modules() -> list[Path]:
    return sorted(
        file for package in PACKAGES.values() for file in package.rglob("*.py") if not file.name.startswith("__")
    )


def area(module: Path) -> str:
    folder, _, *inner = module.relative_to(ROOT).parts[:-1]
    return inner[0] if folder == "src" else folder


def twin(module: Path) -> Path:
    return ROOT / "tests" / area(module) / f"test_{module.name}"


def name(module: Path) -> str:
    return module.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("module", [m for m in modules() if name(m) not in WITHOUT_TWIN], ids=name)
def test_module_has_a_twin(module: Path) -> None:
    assert twin(module).is_file(), f"write {twin(module).relative_to(ROOT).as_posix()}"


def test_all_four_packages_are_looked_at() -> None:
    assert {module.relative_to(ROOT).parts[0] for module in modules()} == set(PACKAGES)


def test_no_two_modules_share_a_twin() -> None:
    shared = [path.name for path, count in Counter(twin(module) for module in modules()).items() if count > 1]
    assert shared == []


def test_exceptions_are_still_needed() -> None:
    """A name leaves the list as soon as its module has a twin or is gone."""
    needed = {name(module) for module in modules() if not twin(module).is_file()}
    assert set(WITHOUT_TWIN) <= needed
    assert all(WITHOUT_TWIN.values())


def test_twins_hold_tests() -> None:
    empty = [file.name for file in (ROOT / "tests").rglob("test_*.py") if "def test_" not in file.read_text("utf-8")]
    assert empty == []


def test_tests_have_no_package_files_and_no_sibling_modules() -> None:
    """Importlib mode: shared things stand in ``conftest.py`` or in the simulators; benchmarks are scripts."""
    strange = [
        file.relative_to(ROOT).as_posix()
        for file in (ROOT / "tests").rglob("*.py")
        if not file.name.startswith(("test_", "bench_")) and file.name != "conftest.py"
    ]
    assert strange == []
