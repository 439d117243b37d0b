"""Imports go one way: a room imports only from itself and from rooms above it; engines stay in their rooms.

The imports are read from the source, not from a running interpreter, so one inside a function counts too.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "harpkeys"

RUNGS = (
    "errors",
    "pitch",
    "harp",
    "score",
    "analysis",
    "plan",
    "report",
    "choose",
    "mark",
    "page",
    "shelf",
    "cli",
    "__main__",
)
"""The rooms from the top of the ladder down."""

ENGINE_ROOMS = {
    "lxml": ("score", "mark"),
    "verovio": ("page",),
    "typst": ("page",),
    "music21": ("score.notations",),
    "highspy": ("plan.highs",),
    "typer": ("cli",),
    "distributed": ("shelf.pools",),
    "partitura": (),
    "ortools": (),
    "rich": (),
}
"""Where each engine may be imported at all; those that only tests and the bench use have no room."""

HEAVY = ("music21", "verovio", "typst", "highspy", "numpy", "rich", "partitura", "ortools", "distributed")
"""What costs more to import than a whole vet: never at module level."""


def module_name(path: Path) -> str:
    """Dotted name below the package: "score.reader" for harpkeys/score/reader.py."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def imported(tree: ast.AST) -> Iterator[str]:
    """Full dotted names that the code under a node imports, `from a import b` as "a.b"."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def imported_at_module_level(tree: ast.Module) -> set[str]:
    """What importing the module imports at once: everything outside function bodies."""
    inside = {
        name
        for node in ast.walk(tree)
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))
        for name in imported(node)
    }
    return set(imported(tree)) - inside


def rung(module: str) -> int:
    return RUNGS.index(module.split(".")[0])


def breaches(module: str, tree: ast.Module) -> list[str]:
    """Imports of lower rooms, and of engines outside their rooms."""
    found = []
    for name in imported(tree):
        first, _, rest = name.partition(".")
        if first == "harpkeys" and rest and rest.split(".")[0] in RUNGS and rung(rest) > rung(module):
            found.append(f"{module} imports {name}, which lies below it")
        rooms = ENGINE_ROOMS.get(first)
        if rooms is not None and not any(module == room or module.startswith(room + ".") for room in rooms):
            found.append(f"{module} imports {name}, which belongs in {' or '.join(rooms) or 'tests'}")
    return found


def test_there_are_modules_to_read() -> None:
    assert {"errors", "pitch", "score.model", "plan.model", "cli"} <= set(MODULES)


def test_every_room_has_a_rung() -> None:
    assert {module.split(".")[0] for module in MODULES if module} <= set(RUNGS)


@pytest.mark.parametrize("module", [module for module in MODULES if module])
def test_imports_go_up_the_ladder(module: str) -> None:
    assert breaches(module, ast.parse(MODULES[module].read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("module", list(MODULES))
def test_heavy_engines_wait_until_they_are_needed(module: str) -> None:
    names = imported_at_module_level(ast.parse(MODULES[module].read_text(encoding="utf-8")))
    assert {name.split(".")[0] for name in names} & set(HEAVY) == set()


def test_a_planted_breach_is_seen() -> None:
    tree = ast.parse("from harpkeys.cli import main\ndef draw():\n    import verovio\n")
    assert breaches("plan.planner", tree) == [
        "plan.planner imports harpkeys.cli.main, which lies below it",
        "plan.planner imports verovio, which belongs in page",
    ]


def test_a_planted_heavy_import_is_seen() -> None:
    tree = ast.parse("import numpy\ndef solve():\n    import highspy\n")
    assert imported_at_module_level(tree) == {"numpy"}
