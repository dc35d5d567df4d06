"""The house has one direction: nothing imports what stands to its right, and click stays in one room."""

from __future__ import annotations

import ast
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "rcdcheck"
ORDER = [
    "showing",
    "errors",
    "data",
    "numbering",
    "progress",
    "writing",
    "history",
    "records",
    "findings",
    "rules",
    "intake",
    "judging",
    "scrutiny",
    "grading",
    "worlds",
    "register",
    "pipeline",
]
FOR_REPORTS = {"history", "progress", "showing", "records", "findings", "rules", "data", "errors", "scrutiny",
               "judging", "witness"}  # fmt: skip


def imports_of(path: Path) -> set[str]:
    """Rooms of rcdcheck that a module imports at run time."""
    found = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in typing_only:
            continue
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "rcdcheck":
            parts = node.module.split(".")[1:]
            found |= {parts[0]} if parts else {alias.name for alias in node.names}
    return found


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def test_nothing_imports_what_stands_to_its_right() -> None:
    for path in PACKAGE.rglob("*.py"):
        room = room_of(path)
        if room in ORDER:
            allowed = set(ORDER[: ORDER.index(room) + 1])
            assert imports_of(path) <= allowed, f"{path} imports {sorted(imports_of(path) - allowed)}"
        if room == "reports":
            reads_again = (
                {"intake"} if path.name == "marked_plain.py" else set()
            )  # the cells of the input, to copy them
            allowed = FOR_REPORTS | {"reports"} | reads_again
            assert imports_of(path) <= allowed, f"{path} imports {sorted(imports_of(path) - allowed)}"


def test_only_the_command_line_and_the_package_import_the_pipeline() -> None:
    users = {room_of(p) for p in PACKAGE.rglob("*.py") if "pipeline" in imports_of(p)}
    assert users <= {"cli", "__init__", "verifying"}


def test_click_is_imported_by_the_command_line_and_the_terminal_report_only() -> None:
    users = {
        p.relative_to(PACKAGE).as_posix()
        for p in PACKAGE.rglob("*.py")
        if "import click" in p.read_text(encoding="utf-8")
    }
    assert all(name.startswith("cli/") or name == "reports/console.py" for name in users), users
