"""Imports go downward only: read from the source, not from what happens to be loaded."""

import ast
from collections.abc import Iterator
from pathlib import Path

import blendkit

PACKAGE = Path(blendkit.__file__).parent
FLOORS = (
    {"errors"},
    {"frame", "memory", "settings"},
    {"optics", "files", "filters", "hints", "clock"},
    {"alignment", "sharpness", "masks", "blending", "midground", "simulate"},
    {"looks", "steps"},
    {"explain"},
    {"merge", "plan", "roles", "sidecar"},
    {"repair"},
    {"report"},
    {"batch"},
    {"review"},
    {"cli"},
    {"__main__"},
)
"""From the ground up.

`repair` works on what `merge` gives.  `batch` and `review` write through `report`, `review` opens
what `batch` pairs, so these stand on each other instead of side by side.
"""

FLOOR = {part: level for level, parts in enumerate(FLOORS) for part in parts}
RECORDS = {"alignment", "sharpness", "masks", "blending", "midground"}
"""Stages whose `__init__` holds the records that they hand on."""


def modules() -> list[Path]:
    return [path for path in sorted(PACKAGE.rglob("*.py")) if path != PACKAGE / "__init__.py"]


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path: Path) -> Iterator[str]:
    """Give the full names of the modules of blendkit that a file imports, wherever it does."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.startswith("blendkit."))
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the floor"
            if node.module and node.module.startswith("blendkit."):
                yield node.module
            elif node.module == "blendkit":
                yield from (f"blendkit.{alias.name}" for alias in node.names if alias.name in FLOOR)


def allowed(importer: str, module: str) -> bool:
    target = module.split(".")[1]
    if importer == target or FLOOR[target] < FLOOR[importer]:
        return True
    record = module == f"blendkit.{target}" and target in RECORDS
    return record and FLOOR[target] == FLOOR[importer]


def test_every_part_has_a_floor() -> None:
    assert {part_of(path) for path in modules()} <= FLOOR.keys()


def test_imports_go_downward_only() -> None:
    wrong = [
        f"{path.relative_to(PACKAGE)} imports {module}"
        for path in modules()
        for module in imported(path)
        if not allowed(part_of(path), module)
    ]
    assert wrong == []


def test_the_rule_can_fail() -> None:
    assert not allowed("files", "blendkit.merge")
    assert not allowed("optics", "blendkit.files.read")
    assert not allowed("masks", "blendkit.alignment.estimate")
    assert allowed("masks", "blendkit.alignment")


def test_the_blender_never_uses_the_simulator() -> None:
    users = {
        part_of(path)
        for path in modules()
        for module in imported(path)
        if module.startswith("blendkit.simulate") and part_of(path) != "simulate"
    }
    assert users <= {"cli"}


def test_only_the_upper_floors_and_files_touch_the_disk() -> None:
    """No `open`, no writing method of a path, no image file functions below."""
    telling = {"open", "print", "write_text", "write_bytes", "imwrite", "imread", "mkdir", "unlink"}
    # the sidecar is JSON that merge, batch and review share
    free = {"files", "report", "batch", "review", "cli", "sidecar"}
    found = [
        f"{path.relative_to(PACKAGE)}:{node.lineno} {name}"
        for path in modules()
        if part_of(path) not in free
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and (name := getattr(node.func, "id", getattr(node.func, "attr", ""))) in telling
    ]
    assert found == []
