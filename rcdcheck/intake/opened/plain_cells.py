"""Whether the XML of a workbook says one thing only: ISO/IEC 29500-1, 18.3 (cells) and 18.4 (texts), taken strictly.

The fast reader passes over what it does not expect: of `<v>30<x/>1.5</v>` it reads 30, of two values in one cell the
last. What spreadsheet programs never write is refused here, so that a cell is never read as a part of itself.
Rows and texts as most programs write them are told by their form alone, and all others by an expat pass.
"""

from __future__ import annotations

import re
from typing import NoReturn

from rcdcheck.intake.opened.raw_xml import RefusedError, parser_of
from rcdcheck.intake.opened.sheet_xml import place

_SPACES = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "http://purl.oclc.org/ooxml/spreadsheetml/main",  # of the strict form
)
_TEXT_PARTS = {"t", "r", "rPh", "phoneticPr"}
_WITHIN = {  # elements that may stand in an element
    "sheetData": {"row"}, "row": {"c"}, "c": {"f", "v", "is"}, "is": _TEXT_PARTS, "r": {"rPr", "t"}, "rPh": {"t"},
    "sst": {"si", "extLst"}, "si": _TEXT_PARTS,
}  # fmt: skip
_HOLDS_TEXT = {"v", "t", "f"}
_NOT_BOTH = {"v": {"v", "is"}, "is": {"v", "is"}, "f": {"f"}, "t": {"t", "r"}, "r": {"t"}, "rPr": {"rPr"}}
_NOT_READ = {"rPr", "extLst"}
_CELLS, _TEXTS = "sheetData", "sst"

_CHARACTERS = rb"[^<&\x00-\x08\x0b\x0c\x0e-\x1f]*+"
_TEXT = rb"%b(?:&(?:amp|lt|gt|quot|apos);%b)*+" % (_CHARACTERS, _CHARACTERS)
_T = rb'<t(?: xml:space="preserve")?+>%b</t>' % _TEXT
_FORMULA = rb"<f[^<>/&]*+(?:/>|>%b</f>)" % _TEXT
_VALUED = rb' t="(?:str|e)">(?:%b)?+<v>%b</v></c>' % (_FORMULA, _TEXT)
_INLINE = rb' t="inlineStr"><is>%b</is></c>' % _T
_NUMBER = rb'(?: t="[nsbd]")?+(?:/>|>(?:%b)?+(?:<v>%b</v>)?+</c>)' % (_FORMULA, _CHARACTERS)
_CELL = rb'<c r="[A-Z]{1,3}+\1"(?: s="[0-9]++")?+(?:%b|%b|%b)' % (_NUMBER, _INLINE, _VALUED)
_ROW = rb'<row r="([1-9][0-9]*+)"[^<>/&]*+(?:/>|>(?>%b)*+</row>)\s*+' % _CELL
_ROWS = re.compile(rb"(?:%b){1,1000}+" % _ROW)  # so many, that addresses of a giant sheet are never held at once
_SOME_ROW = re.compile(rb'<row r="([1-9][0-9]*+)".*?</row>\s*+', re.DOTALL)
_NUMBERS = re.compile(rb'<row r="([0-9]++)"')
_ADDRESSES = re.compile(rb'<c r="([A-Z]++[0-9]++)"')
_PLAIN_TEXTS = re.compile(rb"(?:<si>%b</si>\s*+)++" % _T)
_NO_TEXT = re.compile(r"[0-9A-Za-z.:+-]*")
_ADDRESS = re.compile(r"[A-Z]{1,3}([1-9][0-9]{0,6})")


def check_cells(xml: bytes, sheet: str) -> None:
    """Raises RefusedError where a cell of a sheet, told by its part without comments, can be read in two ways."""
    scan = _Scan(f"its sheet “{sheet}”", _CELLS)
    scan.read(_without_plain_rows(xml, scan))


def check_texts(xml: bytes) -> None:
    """Raises RefusedError where a text of the shared ones can be read in two ways."""
    xml.decode()
    start = xml.find(b"<si>")
    rest = xml[:start] + _PLAIN_TEXTS.sub(b"", xml[start:]) if start >= 0 else xml
    _Scan("its list of texts", _TEXTS).read(rest)


def _without_plain_rows(xml: bytes, scan: _Scan) -> bytes:
    """The part without rows that say one thing only; their numbers are noted."""
    xml.decode()  # what expat would say of the rows that it does not see
    start = xml.find(b"<sheetData>")
    if start < 0 or re.search(rb'<row(?! r="[1-9])', xml):  # a row without a number is counted from the one before
        return xml
    at = start + len(b"<sheetData>")
    left = [xml[:at]]
    while True:
        if plain := _ROWS.match(xml, at):
            addresses = _ADDRESSES.findall(plain[0])
            if len(set(addresses)) < len(addresses):
                scan.twice(next(a for i, a in enumerate(addresses) if a in addresses[:i]).decode())
            for number in _NUMBERS.findall(plain[0]):
                scan.note_row(int(number))
            at = plain.end()
        elif other := _SOME_ROW.match(xml, at):
            left.append(other[0])
            at = other.end()
        else:
            return b"".join([*left, xml[at:]])


class _Scan:
    """One strict pass over what is not plain by its form."""

    def __init__(self, where: str, root: str) -> None:
        self.where, self.root = where, root
        self.stack: list[tuple[str, set[str]]] = []  # elements around, from the root; those seen within each
        self.depth = 0  # of the root of what is read; 0 outside it
        self.skipped = 0  # depth of an element of which nothing is read
        self.roots = 0
        self.rows: set[int] = set()
        self.row, self.cell = 0, ""
        self.column, self.columns = -1, set[int]()  # of the row
        self.kind = ""  # of the cell

    def read(self, xml: bytes) -> None:
        """All of the part."""
        parser_of(self.start, self.text, self.end, separator=" ").Parse(xml, True)

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        space, _, name = tag.rpartition(" ")
        around, seen = self.stack[-1] if self.stack else ("", set[str]())
        self.stack.append((name, set()))
        if name == self.root:
            self.roots += 1
            self.depth = len(self.stack)
            if space not in _SPACES or self.roots > 1 or self.depth != (2 if self.root == _CELLS else 1):
                self.odd()
        if not self.depth or self.skipped or len(self.stack) == self.depth:
            return
        if space not in _SPACES or name not in _WITHIN.get(around, ()) or seen & _NOT_BOTH.get(name, set()):
            self.odd()
        seen.add(name)
        if name in _NOT_READ:
            self.skipped = len(self.stack)
        elif name == "row":
            self._row(attributes.get("r"))
        elif name == "c":
            self._cell(attributes.get("r"))
            self.kind = attributes.get("t", "n")
        elif name == ("v" if self.kind == "inlineStr" else "is"):  # which is no value of such a cell
            self.odd()

    def _row(self, number: str | None) -> None:
        if number is not None and not (number.isascii() and number.isdigit()):
            self.odd()
        self.cell, self.column, self.columns = "", -1, set()
        self.note_row(self.row + 1 if number is None else int(number))

    def _cell(self, address: str | None) -> None:
        if address is None:
            self.column += 1
        else:
            self.cell = address
            match = _ADDRESS.fullmatch(address)
            if match is None or int(match[1]) != self.row:
                self.odd()
            self.column = place(address)[1]
        if self.column in self.columns:
            self.twice(self.cell)
        self.columns.add(self.column)

    def text(self, text: str) -> None:
        if not self.depth or self.skipped:
            return
        element = self.stack[-1][0]
        if element not in _HOLDS_TEXT and text.strip():
            self.odd()
        # of a number the fast reader takes what stands before the first character that is given by name
        if element == "v" and self.kind not in ("str", "e") and not _NO_TEXT.fullmatch(text):
            self.odd()

    def end(self, _: str) -> None:
        if len(self.stack) == self.depth:
            self.depth = 0
        if len(self.stack) == self.skipped:
            self.skipped = 0
        self.stack.pop()

    def note_row(self, number: int) -> None:
        """A row begins, which no other may do under its number."""
        self.row = number
        if number in self.rows:
            self._refuse(f"{self.where} holds row {number} twice")
        self.rows.add(number)

    def twice(self, address: str) -> NoReturn:
        """A cell that is given more than once."""
        self._refuse(f"{self.where} holds cell {address} twice")

    def odd(self) -> NoReturn:
        """What can be read in two ways."""
        near = f" at cell {self.cell}" if self.cell else f" in row {self.row}" if self.row else ""
        self._refuse(f"{self.where} is written in a way{near} that can be read as one value or as another")

    def _refuse(self, what: str) -> NoReturn:
        raise RefusedError(
            f"{what}, which no spreadsheet program writes; nothing of the workbook was read. Ask where it comes from, "
            "open it in a spreadsheet program, compare its readings with the paper, and save it as a new .xlsx."
        )
