"""Fills cells in the parts of a workbook: each gets a copy of its own look with another fill; all else stays."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from lxml import etree

from rcdcheck.as_seen import column_letters
from rcdcheck.reports.excel.style import FAIL, NEITHER, UNSURE
from rcdcheck.reports.marked.package import Package, local, parsed, written
from rcdcheck.reports.marked.places import Mark, Place, together
from rcdcheck.reports.sheet_rows import Changing, Rows

FILLS = {"danger": FAIL[1], "error": FAIL[1], "doubt": UNSURE[1], "caution": UNSURE[1], "note": NEITHER[1]}
EDGES = {  # lines round a cell by severity, so that a print without colour tells them apart
    "danger": ("thick", FAIL[0]), "error": ("medium", FAIL[0]), "doubt": ("dashed", UNSURE[0]),
    "caution": ("thin", UNSURE[0]), "note": ("dotted", NEITHER[0]),
}  # fmt: skip
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PLAIN = (
    f'<styleSheet xmlns="{MAIN}"><fonts count="1"><font/></fonts><fills count="2">'
    '<fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>'
    '<borders count="1"><border/></borders>'
    '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="1"><xf xfId="0"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)


class Styles:
    """The looks of cells; `filled` gives the number of a look like another, but filled."""

    def __init__(self, package: Package, workbook: str, *, strict: bool = False) -> None:
        self._package = package
        self._part = next(iter(package.related(workbook, "styles").values()), "")
        if not self._part:
            self._part = "xl/styles.xml"
            package.put(self._part, PLAIN.encode())
            package.relate(workbook, "styles", self._part, strict=strict)
            content = "application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"
            package.declare(part=self._part, content=content)
        self._root = parsed(package.read(self._part))
        self._looks, self._fills, self._borders = (self._list(name) for name in ("cellXfs", "fills", "borders"))
        self._known: dict[tuple[int, str], int] = {}
        self._colours: dict[str, int] = {}
        self._edges: dict[str, int] = {}

    def _list(self, name: str) -> Any:
        return next(element for element in self._root if local(element) == name)

    def filled(self, look: int, severity: str) -> int:
        """Number of the look `look` with the fill and the edge of a severity."""
        key = look, severity
        if key not in self._known:
            new = copy.deepcopy(self._looks[look if look < len(self._looks) else 0])
            new.set("fillId", str(self._fill(FILLS[severity])))
            new.set("applyFill", "1")
            new.set("borderId", str(self._edge(severity)))
            new.set("applyBorder", "1")
            self._known[key] = _appended(self._looks, new)
        return self._known[key]

    def _fill(self, colour: str) -> int:
        if colour not in self._colours:
            solid = f'<patternFill patternType="solid"><fgColor rgb="FF{colour}"/></patternFill>'
            xml = f'<fill xmlns="{etree.QName(self._root).namespace}">{solid}</fill>'
            self._colours[colour] = _appended(self._fills, etree.fromstring(xml))
        return self._colours[colour]

    def _edge(self, severity: str) -> int:
        if severity not in self._edges:
            line, colour = EDGES[severity]
            sides = "".join(
                f'<{side} style="{line}"><color rgb="FF{colour}"/></{side}>'
                for side in ("left", "right", "top", "bottom")
            )
            xml = f'<border xmlns="{etree.QName(self._root).namespace}">{sides}<diagonal/></border>'
            self._edges[severity] = _appended(self._borders, etree.fromstring(xml))
        return self._edges[severity]

    def save(self) -> None:
        """Have the part written, with the looks that rows ask for while they pass."""
        self._package.put_pieces(self._part, lambda: iter([written(self._root)]), late=True)


def _appended(parent: Any, element: Any) -> int:
    parent.append(element)
    parent.set("count", str(len(parent)))
    return len(parent) - 1


def anchored(root: Any, marks: dict[Place, Mark]) -> dict[Place, Mark]:
    """Marks inside merged cells moved to their upper left cell, which is the only one that shows."""
    out: dict[Place, Mark] = {}
    found = [_corners(element.get("ref")) for element in root.iter("{*}mergeCell")]
    if not found:
        return marks
    merges = np.array(found)
    for (row, column), mark in marks.items():
        inside = (merges[:, 0] <= row) & (row <= merges[:, 2]) & (merges[:, 1] <= column) & (column <= merges[:, 3])
        place = found[int(inside.argmax())][:2] if inside.any() else (row, column)
        out[place] = together(out[place], mark) if place in out else mark
    return out


def _corners(ref: str) -> tuple[int, int, int, int]:
    """`B13:B15` → (13, 1, 15, 1): rows as a person counts them, columns from 0."""
    first, _, last = ref.partition(":")
    (top, left), (bottom, right) = ((int(re.sub(r"\D", "", c)), _column_number(c) - 1) for c in (first, last or first))
    return top, left, bottom, right


def fill(root: Any, rows: Rows, marks: dict[Place, Mark], styles: Styles) -> Rows:
    """Rows of a sheet (root of its part) with cells filled; cells that were not there are put in, empty."""
    columns = _column_looks(root)
    wanted: dict[int, dict[int, Mark]] = {}
    for (at, column), mark in marks.items():
        wanted.setdefault(at, {})[column + 1] = mark

    def change(row: Any, number: int, cells: dict[int, Mark]) -> None:
        _fill_row(row, number, cells, styles, columns, etree.QName(root).namespace)

    return lambda: Changing(root, wanted, change).pieces(rows())


def _fill_row(
    row: Any, number: int, marks: dict[int, Mark], styles: Styles, columns: dict[int, int], namespace: str | None
) -> None:
    cells = _numbered(row, "c", _column_number)
    for column, mark in marks.items():
        cell = cells.get(column)
        if cell is None:
            own = int(row.get("s", 0)) if row.get("customFormat") in ("1", "true") else columns.get(column, 0)
            new = etree.Element(f"{{{namespace}}}c", r=f"{column_letters(column - 1)}{number}", s=str(own))
            cell = _inserted(row, cells, column, new)
            row.attrib.pop("spans", None)  # a hint that no longer holds
        cell.set("s", str(styles.filled(int(cell.get("s", 0)), mark.severity)))


def _numbered(parent: Any, name: str, number: Callable[[str], int]) -> dict[int, Any]:
    """Rows or cells by number; one without a number follows the one before it."""
    out: dict[int, Any] = {}
    last = 0
    for element in parent:
        if local(element) == name:
            ref = element.get("r")
            last = number(ref) if ref else last + 1
            out[last] = element
    return out


def _column_number(ref: str) -> int:
    number = 0
    for letter in ref:
        if not letter.isalpha():
            break
        number = number * 26 + ord(letter.upper()) - 64
    return number


def _inserted(parent: Any, known: dict[int, Any], number: int, element: Any) -> Any:
    """Put an element where its number belongs."""
    before = max((n for n in known if n < number), default=0)
    if before:
        known[before].addnext(element)
    else:
        parent.insert(0, element)
    known[number] = element
    return element


def _column_looks(root: Any) -> dict[int, int]:
    """Look of the empty cells of each column that has one."""
    out: dict[int, int] = {}
    for columns in (element for element in root if local(element) == "cols"):
        for column in columns:
            if column.get("style"):
                numbers: Iterable[int] = range(int(column.get("min")), int(column.get("max")) + 1)
                out |= dict.fromkeys(numbers, int(column.get("style")))
    return out
