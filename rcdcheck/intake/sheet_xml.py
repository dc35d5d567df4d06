"""What only the raw XML of a workbook tells: formulas, error texts, hidden rows and columns, comments.

One expat pass over a sheet, and only where its bytes hold any of these; entity declarations are refused.
"""

from __future__ import annotations

import itertools
import posixpath
import re
import zipfile
from collections.abc import Iterator
from typing import Any
from xml.parsers import expat

_MARKS = (b"<f", b":f>", b":f ", b't="e"', b"t='e'", b"hidden=")
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384  # of a worksheet, ISO/IEC 29500 as spreadsheet programs limit it
_ARRAY = 10_000  # cells of one array formula that are listed
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,9})")


def parts_of_sheets(archive: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Name of each sheet and the part that holds it."""
    targets = _relations(archive, "xl/workbook.xml")
    found: list[tuple[str, str]] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag.rpartition(":")[2] == "sheet":
            identity = next((v for k, v in attributes.items() if k.rpartition(":")[2] == "id"), "")
            found.append((attributes.get("name", ""), targets.get(identity, ("", ""))[1]))

    _parse(archive.read("xl/workbook.xml"), start)
    names = set(archive.namelist())
    yield from ((name, part) for name, part in found if part in names)


def _relations(archive: zipfile.ZipFile, part: str) -> dict[str, tuple[str, str]]:
    """Relations of a part: id → (last word of the type, part that it points at)."""
    folder, name = posixpath.split(part)
    path = f"{folder}/_rels/{name}.rels"
    found: dict[str, tuple[str, str]] = {}

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag.rpartition(":")[2] == "Relationship":
            target = attributes.get("Target", "")
            whole = target.lstrip("/") if target.startswith("/") else posixpath.normpath(posixpath.join(folder, target))
            found[attributes.get("Id", "")] = (attributes.get("Type", "").rpartition("/")[2], whole)

    if path in archive.namelist():
        _parse(archive.read(path), start)
    return found


def special_cells(xml: bytes) -> list[list[Any]]:
    """[row, column, kind, text] of formulas, formulas without a stored value, errors, hidden rows and columns."""
    if not any(mark in xml for mark in _MARKS):
        return []
    scan = _Scan()
    _parse(xml, scan.start, scan.end, scan.text)
    return scan.found


class _Scan:
    def __init__(self) -> None:
        self.found: list[list[Any]] = []
        self.shared: dict[str, str] = {}
        self.row, self.column = 0, -1  # a row or cell without an address follows the one before it
        self.error = False
        self.formula: str | None = None
        self.value = ""
        self.share = ""
        self.covers = ""
        self.inside = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        tag = tag.rpartition(":")[2]
        self.inside = tag
        if tag == "c":
            row, column = _place(attributes.get("r", ""))
            self.row, self.column = (row, column) if row else (self.row, self.column + 1)
            self.error = attributes.get("t") == "e"
            self.formula, self.value, self.share, self.covers = None, "", "", ""
        elif tag == "f":
            self.formula, self.share = "", attributes.get("si", "")
            self.covers = attributes.get("ref", "") if attributes.get("t") == "array" else ""
        elif tag == "row":
            self.row, self.column = _bounded(attributes.get("r", str(self.row + 1)), _LAST_ROW), -1
            if attributes.get("hidden") in ("1", "true"):
                self.found.append([self.row, -1, "hidden_row", ""])
        elif tag == "col" and attributes.get("hidden") in ("1", "true"):
            first, last = (_bounded(attributes.get(name, "1"), _LAST_COLUMN) for name in ("min", "max"))
            self.found += [[0, c - 1, "hidden_column", ""] for c in range(first, last + 1)]

    def text(self, text: str) -> None:
        if self.inside == "f" and self.formula is not None:
            self.formula += text
        elif self.inside in ("v", "t"):
            self.value += text

    def end(self, tag: str) -> None:
        self.inside = ""
        if tag.rpartition(":")[2] != "c":
            return
        if self.formula is not None:
            if self.share and self.formula:
                self.shared[self.share] = self.formula
            text = "=" + (self.formula or self.shared.get(self.share, ""))
            kind = "formula" if self.value else "formula_without_value"
            self.found.append([self.row, self.column, kind, text])
            self.found += [[r, c, "formula", text] for r, c in _others(self.covers)]
        if self.error:
            self.found.append([self.row, self.column, "error", self.value or "#ERROR"])


def comments_of(archive: zipfile.ZipFile, part: str) -> list[list[Any]]:
    """[row, column, "comment", text] of a sheet's comments."""
    found: list[list[Any]] = []
    where = ""

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal where
        if tag.rpartition(":")[2] == "comment":
            where = attributes.get("ref", "")
            found.append([*_place(where), "comment", ""])

    def text(piece: str) -> None:
        if found and where:
            found[-1][3] += piece

    names = set(archive.namelist())
    for kind, target in _relations(archive, part).values():
        if kind == "comments" and target in names:
            _parse(archive.read(target), start, None, text)
    return [[row, column, kind, " ".join(said.split())] for row, column, kind, said in found]


def _others(covers: str) -> Iterator[tuple[int, int]]:
    """Cells of an array formula after its first; they hold nothing but their values."""
    (top, left), (bottom, right) = (_place(corner) for corner in (covers.partition(":")[0], covers.rpartition(":")[2]))
    cells = ((r, c) for r in range(top, bottom + 1) for c in range(left, right + 1))
    yield from itertools.islice(cells, 1, _ARRAY)


def _bounded(number: str, last: int) -> int:
    return max(1, min(int(number), last))


def _place(reference: str) -> tuple[int, int]:
    match = _REFERENCE.fullmatch(reference)
    if match is None:
        return 0, -1
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - 64
    return _bounded(match[2], _LAST_ROW), column - 1


def _parse(xml: bytes, start: Any, end: Any = None, text: Any = None) -> None:
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text

    def refuse(*_: object) -> None:
        raise ValueError("XML entities are not allowed in a workbook")

    parser.EntityDeclHandler = refuse
    parser.Parse(xml, True)
