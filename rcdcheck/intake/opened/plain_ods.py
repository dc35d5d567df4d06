"""Whether the cells of an OpenDocument sheet say one thing only: ISO/IEC 26300-1, 9.1.4 (cells) and 6.1 (their text).

The fast reader leaves out what stands in verbatim sections, joins the lines of a paragraph, and reads a cell without a
type, or without the value of its type, as blank.
"""

from __future__ import annotations

from rcdcheck.intake.opened.long_texts import Shown
from rcdcheck.intake.opened.raw_xml import RefusedError, parse, straight

_ANEW = (
    (b"<text:line-break/>", b"&#10;"), (b"<text:tab/>", b"&#9;"),
    (b' office:string-value=""', b""),  # beside the name of an error, which would be read as blank
)  # fmt: skip
_ERRORS = ("#", "Err:")  # how the text of an error begins, beside which some programs store the number 0
_CELLS = ("table:table-cell", "table:covered-table-cell")
_BESIDE = ("office:annotation", "table:shapes", "table:detective")  # what a cell may hold beside its text
_VALUES = {
    "float": "value", "percentage": "value", "currency": "value", "boolean": "boolean-value", "date": "date-value",
    "time": "time-value",
}  # fmt: skip


def straight_document(xml: bytes) -> bytes:
    """The same content, written so that the fast reader reads it right. Raises RefusedError where it cannot be."""
    xml = straight(xml)
    for mark, written in _ANEW:
        xml = xml.replace(mark, written)
    scan = _Scan()
    parse(xml, scan.start, scan.text, scan.end)
    return xml


class _Scan:
    """One pass over the content; prefixes are the usual ones, as the fast reader takes them to be."""

    def __init__(self) -> None:
        self.sheet = ""
        self.stack: list[str] = []
        self.cell: dict[str, str] | None = None
        self.depth = 0  # of the cell
        self.skipped = 0  # depth of what stands beside its text
        self.said = ""
        self.rows = 1  # that the row stands for
        self.shown = Shown()

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.stack.append(tag)
        if tag == "table:table":
            self.sheet = attributes.get("table:name", "")
        if self.skipped:
            return
        if tag == "table:table-row":
            self.rows = _times(attributes.get("table:number-rows-repeated", ""))
        if tag in _BESIDE or (tag.startswith("draw:") and self.cell is not None):
            self.skipped = len(self.stack)
        elif tag in _CELLS:
            if self.cell is not None:
                self.odd("a cell within a cell")
            self.cell, self.depth, self.said = attributes, len(self.stack), ""
        elif self.cell is not None and tag == "text:p" and "text:p" in self.stack[self.depth : -1]:
            self.odd("a paragraph within a paragraph")
        elif self.cell is not None and tag in ("text:line-break", "text:tab"):  # not in its plain form
            self.odd("a break that is not plain")

    def text(self, text: str) -> None:
        if self.cell is None or self.skipped:
            return
        if "text:p" not in self.stack[self.depth :] and text.strip():
            self.odd("text outside its paragraphs")
        self.said += text

    def end(self, _: str) -> None:
        if self.cell is not None and len(self.stack) == self.depth:
            self._judge(self.cell)
            self.cell = None
        if len(self.stack) == self.skipped:
            self.skipped = 0
        self.stack.pop()

    def _judge(self, cell: dict[str, str]) -> None:
        kind = cell.get("office:value-type", "")
        said, stored = self.said.strip(), cell.get("office:string-value")
        if kind == "string":
            lost = stored is not None and said not in ("", stored.strip())
        else:
            valued = f"office:{_VALUES.get(kind, '')}" in cell and not said.startswith(_ERRORS)
            lost = bool(said) and not valued
        if lost:
            self.odd(f"the text “{' '.join(self.said.split())[:40]}” and another value")
        self.shown.add(len(self.said), self.rows * _times(cell.get("table:number-columns-repeated", "")))

    def odd(self, what: str) -> None:
        """What can be read in two ways."""
        raise RefusedError(
            f"its sheet “{self.sheet}” holds {what}, which no spreadsheet program writes and which can be read in two "
            "ways; nothing of the workbook was read. Ask where it comes from, open it in a spreadsheet program, "
            "compare its readings with the paper, and save it as a new .xlsx."
        )


def _times(repeated: str) -> int:
    return int(repeated) if repeated.isdecimal() and repeated.isascii() and len(repeated) < 10 else 1
