"""The rooms of `fitting/`: no module imports, by whatever way, itself; no result what draws it."""

from __future__ import annotations

import ast
from graphlib import TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = {
    "checks", "cooling", "corrections", "cup", "drawings", "extreme", "files", "newton",
    "practice", "release",
}  # fmt: skip


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports() -> dict[str, set[str]]:
    """Imports between modules of `fitting`, those inside functions and for types included."""
    paths = {module_of(path): path for path in (ROOT / "fitting").rglob("*.py")}
    found: dict[str, set[str]] = {name: set() for name in paths}
    for name, path in paths.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                inner = (f"{node.module}.{one.name}" for one in node.names)
                found[name] |= {one if one in paths else node.module for one in inner}
    return {name: (some & set(paths)) - {name} for name, some in found.items()}


def test_no_circles():
    assert len(list(TopologicalSorter(imports()).static_order())) > 60


def test_only_what_joins_results_and_drawings_knows_drawings():
    knows = {
        name
        for name, some in imports().items()
        if any(one.startswith("fitting.drawings") for one in some)
        and not name.startswith("fitting.drawings")
    }
    assert knows <= {"fitting.comparison"}


def test_the_engine_knows_no_correction_and_the_cup_nothing():
    graph = imports()
    for name, some in graph.items():
        rooms = {one.split(".")[1] for one in some if one.count(".")}
        if name.startswith("fitting.cup"):
            assert rooms <= {"cup", "errors"}
        if name.startswith("fitting.newton") and not name.endswith("heated"):
            assert not rooms & (ROOMS - {"newton", "cup"})


def test_the_rooms_are_those_of_the_guide():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert {path.parent.name for path in (ROOT / "fitting").glob("*/__init__.py")} == ROOMS
    for room in ROOMS:
        assert f"`fitting/{room}/`" in guide
