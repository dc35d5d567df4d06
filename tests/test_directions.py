"""The house has floors: nothing imports from above, no module stands in a circle, and click stays in one room."""

from __future__ import annotations

import ast
from graphlib import TopologicalSorter
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "rcdcheck"
FOR_REPORTS = {"history", "progress", "showing", "terms", "as_seen", "tables", "options", "audits", "identity",
               "sheet_fields", "findings", "rules", "data", "errors", "scrutiny", "judging", "witness"}  # fmt: skip


def imports(path: Path) -> list[ast.ImportFrom]:
    """What a module imports from rcdcheck at run time, when it is loaded or later."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    nodes = (node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and id(node) not in typing_only)
    return [node for node in nodes if (node.module or "").split(".")[0] == "rcdcheck"]


def imports_of(path: Path) -> set[str]:
    """Rooms of rcdcheck that a module imports at run time."""
    found = set()
    for node in imports(path):
        parts = str(node.module).split(".")[1:]
        found |= {parts[0]} if parts else {alias.name for alias in node.names}
    return found


def modules_of(path: Path) -> set[str]:
    """Modules of rcdcheck that a module imports when it is loaded or later, under their full names."""
    found = set()
    for node in imports(path):
        for alias in node.names:
            whole = f"{node.module}.{alias.name}"
            at = PACKAGE.parent / whole.replace(".", "/")
            found.add(whole if at.is_dir() or at.with_suffix(".py").exists() else str(node.module))
    return found - {"rcdcheck"}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def test_reports_read_an_audit_and_compute_nothing_that_judges() -> None:
    for path in (PACKAGE / "reports").rglob("*.py"):
        copies = {"intake"} if path.match("marked/plain.py") else set()  # the cells of the input
        beyond = imports_of(path) - FOR_REPORTS - {"reports"} - copies
        assert not beyond, f"{path} imports {sorted(beyond)}"


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


def floors(over: dict[str, set[str]]) -> dict[str, int]:
    """Floor of each: one above the highest that it imports. Raises CycleError for a circle."""
    floor: dict[str, int] = {}
    for name in TopologicalSorter(over).static_order():
        floor[name] = 1 + max((floor[under] for under in over.get(name, ())), default=-1)
    return floor


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Not even later, inside a function."""
    over = {}
    for path in PACKAGE.rglob("*.py"):
        name = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")
        over[name] = modules_of(path) - {name}
    assert len(floors(over)) >= len(over)


def test_the_picture_of_the_floors_is_the_one_that_the_imports_draw() -> None:
    rooms = {room_of(path) for path in PACKAGE.rglob("*.py")}
    over: dict[str, set[str]] = {room: set() for room in rooms}
    for path in PACKAGE.rglob("*.py"):
        over[room_of(path)] |= imports_of(path) & rooms - {room_of(path)}
    floor = floors({room: under for room, under in over.items() if not room.startswith("__")})
    drawn = "".join(
        f"{number}  {'  '.join(sorted(room for room in floor if floor[room] == number))}\n"
        for number in range(max(floor.values()), -1, -1)
    )
    assert drawn in (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8"), f"the imports draw\n{drawn}"
