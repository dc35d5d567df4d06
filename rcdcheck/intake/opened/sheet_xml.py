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

_MARKS = (b"<f", b't="e"', b"t='e'", b"hidden=")
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384  # of a worksheet, ISO/IEC 29500 as spreadsheet programs limit it
_ARRAY = 10_000  # cells of one array formula that are listed
Special = list[list[Any]]  # row, column, kind, text of cells that are more than a plain value
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


def special_cells(xml: bytes) -> Special:
    """[row, column, kind, text] of formulas, formulas without a stored value, errors, hidden rows and columns."""
    prefixed = b"<worksheet" not in xml[:1000]  # then its tags may be written in other ways too
    return _Scan(xml).found if prefixed or any(mark in xml for mark in _MARKS) else []


class _Scan:
    """One pass. Text and ends of elements are heard only inside the few cells that have a formula or an error."""

    def __init__(self, xml: bytes) -> None:
        self.found: Special = []
        self.shared: dict[str, str] = {}
        self.row, self.address, self.since = 0, "", 0  # cells since the last one that had an address
        self.cell: dict[str, str] = {}
        self.formula: dict[str, str] | None = None
        self.texts = {"f": "", "v": ""}
        self.inside = ""
        self.parser = _parser(self.start)
        self.parser.Parse(xml, True)

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        tag = tag.rpartition(":")[2]
        self.inside = tag
        if tag == "c":
            self.cell, self.formula = attributes, None
            address = attributes.get("r")
            self.address, self.since = (address, 0) if address else (self.address, self.since + 1)
            if attributes.get("t") == "e":
                self._listen()
        elif tag == "f":
            self.formula = attributes
            self._listen()
        elif tag == "row":
            self.row = _bounded(attributes.get("r", str(self.row + 1)), _LAST_ROW)
            self.address, self.since = "", 0
            if attributes.get("hidden") in ("1", "true"):
                self.found.append([self.row, -1, "hidden_row", ""])
        elif tag == "col" and attributes.get("hidden") in ("1", "true"):
            first, last = (_bounded(attributes.get(name, "1"), _LAST_COLUMN) for name in ("min", "max"))
            self.found += [[0, c - 1, "hidden_column", ""] for c in range(first, last + 1)]

    def _listen(self) -> None:
        self.texts = {"f": "", "v": ""}
        self.parser.CharacterDataHandler, self.parser.EndElementHandler = self.text, self.end

    def text(self, text: str) -> None:
        if self.inside in self.texts:
            self.texts[self.inside] += text

    def end(self, tag: str) -> None:
        self.inside = ""
        if tag.rpartition(":")[2] == "c":
            self.parser.CharacterDataHandler = self.parser.EndElementHandler = None
            row, column = _place(self.address)
            self._note(row or self.row, column + self.since)

    def _note(self, row: int, column: int) -> None:
        kind, value = self.cell.get("t", ""), self.texts["v"]
        if self.formula is not None:
            stored = value or kind == "str"  # a formula may well give an empty text
            text = self._formula(self.formula)
            self.found.append([row, column, "formula" if stored else "formula_without_value", text])
            if self.formula.get("t") in ("array", "dataTable"):
                self.found += [[r, c, "formula", text] for r, c in _others(self.formula.get("ref", ""))]
        if kind == "e":
            self.found.append([row, column, "error", value or "#ERROR"])

    def _formula(self, attributes: dict[str, str]) -> str:
        """Text of a formula; where cells share one, only the first of them holds it."""
        text, share = self.texts["f"], attributes.get("si", "")
        if share and text:
            self.shared[share] = text
        return "=" + (text or self.shared.get(share, ""))


def comments_of(archive: zipfile.ZipFile, part: str) -> Special:
    """[row, column, "comment", text] of a sheet's comments."""
    found: Special = []
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
            _parse(archive.read(target), start, text)
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


def _parse(xml: bytes, start: Any, text: Any = None) -> None:
    _parser(start, text).Parse(xml, True)


def _parser(start: Any, text: Any = None) -> expat.XMLParserType:
    def refuse(*_: object) -> None:
        raise ValueError("XML entities are not allowed in a workbook")

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler, parser.CharacterDataHandler, parser.EntityDeclHandler = start, text, refuse
    return parser
