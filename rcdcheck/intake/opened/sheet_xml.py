"""What only the raw XML of a workbook tells: formulas, error texts, hidden rows and columns, comments, strikes, fills.

One expat pass over a sheet, and only where its bytes, or the styles of the workbook, hold any of these.
"""

from __future__ import annotations

import itertools
import posixpath
import re
import zipfile
from collections.abc import Iterator
from typing import Any

from rcdcheck.intake.opened.cell_fills import Fill
from rcdcheck.intake.opened.cell_styles import PLAIN, Look
from rcdcheck.intake.opened.raw_xml import RefusedError, parse, parser_of
from rcdcheck.intake.opened.rich_texts import RichText

_MARKS = (b"<f", b't="e"', b"hidden=", b"strike")
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384  # of a worksheet, ISO/IEC 29500 as spreadsheet programs limit it
OUR_AUTHOR = "rcdcheck"  # of the comments in marked copies
_ARRAY = 10_000  # cells of one array formula that are listed
COMMENTS = 500_000  # of one sheet, more than anybody wrote; our own do not count
_ARRAYS = 1_000_000  # cells of all of them, which no sheet of readings holds
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

    parse(archive.read("xl/workbook.xml"), start)
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
            if attributes.get("Id", "") in found:
                raise ValueError(f"two relations of {part} have one name")
            found[attributes.get("Id", "")] = (attributes.get("Type", "").rpartition("/")[2], whole)

    if path in archive.namelist():
        parse(archive.read(path), start)
    return found


def special_cells(xml: bytes, looks: dict[str, Look], rich: dict[str, RichText]) -> tuple[Special, list[Fill]]:
    """[row, column, kind, text] of cells that are more than a value, comments left out, and all cells with a fill.

    looks: formats that are more than plain; rich: shared strings that have runs.
    """
    # a prefix, or attributes in single quotes: then its tags may be written in other ways too
    unusual = b"<worksheet" not in xml[:1000] or (b"'" in xml and b"t='e'" in xml)
    if not (unusual or looks or rich or any(mark in xml for mark in _MARKS)):
        return [], []
    scan = _Scan(_without_plain(xml, looks, rich), looks, rich)
    return scan.found, scan.fills


def _without_plain(xml: bytes, looks: dict[str, Look], rich: dict[str, RichText]) -> bytes:
    """The sheet without cells that can tell nothing, as most programs write them; the pass is slow and this is not.

    A cell before one without an address stays, as that one is counted from it.
    """
    if "0" in looks:  # the format of cells that name none
        return xml
    formats = rb's="(?!(?:%s)")[0-9]+"' % "|".join(looks).encode() if looks else rb's="[0-9]+"'
    types = rb't="(?:n|b|d|str|inlineStr%s)"' % (b"" if rich else b"|s")
    value = rb"<v>[^<]*</v>|<is><t>[^<]*</t></is>"
    cell = rb'<c r="[A-Z]+[0-9]+"(?: %s)?(?: %s)?(?:/>|>(?:%s)</c>)(?=<c r="|</row>)' % (formats, types, value)
    return re.sub(cell, b"", xml)


class _Scan:
    """One pass. Text and ends of elements are heard only inside the few cells that tell more by them."""

    def __init__(self, xml: bytes, looks: dict[str, Look], rich: dict[str, RichText]) -> None:
        self.found: Special = []
        self.fills: list[Fill] = []
        self.hidden_columns = 0  # a bit each, as the same ones may be hidden again and again
        self.in_arrays = 0
        self.looks, self.rich = looks, rich
        strikes = b"strike" in xml or any(look.struck for look in looks.values())
        # types of cells to listen to
        self.telling = {"e"} | ({"s"} if rich else set()) | ({"inlineStr"} if strikes else set())
        self.shared: dict[str, str] = {}
        self.row, self.address, self.since = 0, "", 0  # cells since the last one that had an address
        self.cell: dict[str, str] = {}
        self.look = PLAIN
        self.formula: dict[str, str] | None = None
        self.texts = {"f": "", "v": ""}
        self.inline = RichText()
        self.inside = ""
        self.parser = parser_of(self.start)
        self.parser.Parse(xml, True)
        width = self.hidden_columns.bit_length()
        self.found += [[0, c, "hidden_column", ""] for c in range(width) if self.hidden_columns >> c & 1]

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.inside = tag = tag.rpartition(":")[2]
        if tag == "v":  # most common, and of no interest by itself
            return
        if tag == "c":
            self._cell(attributes)
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
            self.hidden_columns |= (1 << last) - (1 << (first - 1))
        elif tag in ("r", "rPr", "strike", "rPh"):  # within an inline string
            self.inline.start(tag, attributes)

    def _cell(self, attributes: dict[str, str]) -> None:
        self.cell, self.formula = attributes, None
        address = attributes.get("r")
        self.address, self.since = (address, 0) if address else (self.address, self.since + 1)
        self.look = self.looks.get(attributes.get("s", "0"), PLAIN)
        if self.look.colour:
            self.fills.append((*self._here(), self.look.colour))
        if attributes.get("t") in self.telling:
            self._listen()
        elif self.look.struck:
            self.found.append([*self._here(), "struck", ""])

    def _here(self) -> tuple[int, int]:
        row, column = place(self.address)
        return row or self.row, column + self.since

    def _listen(self) -> None:
        self.texts, self.inline = {"f": "", "v": ""}, RichText()
        self.parser.CharacterDataHandler, self.parser.EndElementHandler = self.text, self.end

    def text(self, text: str) -> None:
        if self.inside in self.texts:
            self.texts[self.inside] += text
        elif self.inside == "t":
            self.inline.text(text)

    def end(self, tag: str) -> None:
        self.inside = ""
        if tag.rpartition(":")[2] == "c":
            self.parser.CharacterDataHandler = self.parser.EndElementHandler = None
            self._note(*self._here())

    def _note(self, row: int, column: int) -> None:
        kind, value = self.cell.get("t", ""), self.texts["v"]
        if self.formula is not None:
            stored = value or kind == "str"  # a formula may well give an empty text
            text = self._formula(self.formula)
            self.found.append([row, column, "formula" if stored else "formula_without_value", text])
            if self.formula.get("t") in ("array", "dataTable"):
                others = [[r, c, "formula", text] for r, c in _others(self.formula.get("ref", ""))]
                self.in_arrays += len(others)
                if self.in_arrays > _ARRAYS:
                    raise RefusedError(
                        f"its array formulas cover more than {_ARRAYS:,} cells, which no sheet of readings does. Copy "
                        "the readings alone, as values, to a new workbook and save it as .xlsx."
                    )
                self.found += others
        if kind == "e":
            self.found.append([row, column, "error", value or "#ERROR"])
        if kind in self.telling:
            rich = self.rich.get(value.strip(), self.inline) if kind == "s" else self.inline
            struck = rich.struck(self.look.struck)
            self.found += [] if struck is None else [[row, column, "struck", struck]]

    def _formula(self, attributes: dict[str, str]) -> str:
        """Text of a formula; where cells share one, only the first of them holds it."""
        text, share = self.texts["f"], attributes.get("si", "")
        if share and text:
            self.shared[share] = text
        return "=" + (text or self.shared.get(share, ""))


def comments_of(archive: zipfile.ZipFile, part: str) -> tuple[Special, bool]:
    """[row, column, "comment", text] of a sheet's comments, and whether this program has marked the sheet.

    What this program wrote into a marked copy is left out: it is no word of whoever typed the sheet.
    """
    names = set(archive.namelist())
    found = _Comments()
    for kind, target in _relations(archive, part).values():
        if kind == "comments" and target in names:
            with archive.open(target) as comments:
                parser_of(found.start, found.text).ParseFile(comments)
    return found.told(), found.marked


class _Comments:
    """Comments of one sheet as they are read."""

    def __init__(self) -> None:
        self.authors: list[str] = []
        self.found: list[tuple[int, int, str, list[str]]] = []  # row, column, author's number, pieces of text
        self.inside = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Hear an element begin."""
        self.inside = tag.rpartition(":")[2]
        if self.inside == "author":
            self.authors.append("")
        elif self.inside == "comment":
            row, column = place(attributes.get("ref", ""))
            self._hear(row, column, attributes.get("authorId", ""))

    def _hear(self, row: int, column: int, author: str) -> None:
        """A comment begins; of those that this program wrote none is kept."""
        if self.found and self._is_ours(self.found[-1][2]):
            self.found.pop()
        self.found.append((row, column, author, []))
        if len(self.found) > COMMENTS:
            raise RefusedError(
                f"a sheet of it holds more than {COMMENTS:,} comments, which nobody wrote. Copy the readings alone to "
                "a new workbook and save it as .xlsx."
            )

    def _is_ours(self, author: str) -> bool:
        return (
            author.isdecimal() and int(author[:9]) < len(self.authors) and self.authors[int(author[:9])] == OUR_AUTHOR
        )

    def text(self, piece: str) -> None:
        """Hear text."""
        if self.found:
            self.found[-1][3].append(piece)
        elif self.inside == "author" and self.authors:
            self.authors[-1] += piece.strip()

    @property
    def marked(self) -> bool:
        """Whether this program is among the authors."""
        return OUR_AUTHOR in self.authors

    def told(self) -> Special:
        """The comments of people."""
        ours = {str(i) for i, author in enumerate(self.authors) if author == OUR_AUTHOR}
        return [
            [row, column, "comment", " ".join("".join(pieces).split(f"\n{OUR_AUTHOR}:")[0].split())]
            for row, column, author, pieces in self.found
            if author not in ours
        ]


def _others(covers: str) -> Iterator[tuple[int, int]]:
    """Cells of an array formula after its first; they hold nothing but their values."""
    (top, left), (bottom, right) = (place(corner) for corner in (covers.partition(":")[0], covers.rpartition(":")[2]))
    cells = ((r, c) for r in range(top, bottom + 1) for c in range(left, right + 1))
    yield from itertools.islice(cells, 1, _ARRAY)


def _bounded(number: str, last: int) -> int:
    return max(1, min(int(number), last))


def place(reference: str) -> tuple[int, int]:
    """Row from 1 and column from 0 of an address; (0, -1) for what is none."""
    match = _REFERENCE.fullmatch(reference)
    if match is None:
        return 0, -1
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - 64
    return _bounded(match[2], _LAST_ROW), column - 1
