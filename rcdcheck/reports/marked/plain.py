"""A plain workbook with the cells of another format in the same places, as a start for its marked copy."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from openpyxl.utils.datetime import to_excel

from rcdcheck.as_seen import column_letters
from rcdcheck.audits import Audit
from rcdcheck.reports.excel import style
from rcdcheck.reports.excel.archive import NO_TIME, archive
from rcdcheck.reports.marked.package import Package
from rcdcheck.showing import visible

if TYPE_CHECKING:
    from rcdcheck.intake.opened.grids import Coded, Grid

NO_NAME = "Sheet1"  # of a sheet without a name; no site is read from it
CHANGED = "{name} has changed or vanished since it was audited and was not marked. Audit it again."
LOOKS = ("id", "number", "date", "stamp")
ROWS = 10_000  # that are in memory at a time
LONGEST = 32_000  # characters of a cell
MEASURED, WIDEST = 200, 40  # rows from which widths are taken; characters of a column
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_UNTITLED = re.compile(r"[\[\]:*?/\\]")


def plain_workbook(audit: Audit, input_number: int) -> tuple[Package, list[str]]:
    """The workbook and the names of its sheets, in the order of the sheets of the input.

    Raises OutputError where the input is no longer what was audited.
    """
    from openpyxl import Workbook

    from rcdcheck.errors import OutputError
    from rcdcheck.findings import Findings
    from rcdcheck.intake.opened.files import open_inputs

    one, options = audit.tables.inputs[input_number], audit.options
    opened = open_inputs([str(one.path)], Findings(), encoding=options.encoding, delimiter=options.delimiter)
    if opened[0].input.sha256 != one.sha256:
        raise OutputError(CHANGED.format(name=one.name))
    book = Workbook(write_only=True)
    names: list[str] = []
    book.properties.created = book.properties.modified = NO_TIME
    for grid in opened[0].grids:
        names.append(_name(grid.sheet or NO_NAME, names))
        _begin(book.create_sheet(names[-1]), grid)
    package = Package(b"".join(archive(book)))
    for number, grid in enumerate(opened[0].grids, 1):
        part = f"xl/worksheets/sheet{number}.xml"
        looks = dict(zip(LOOKS, re.findall(r' s="(\d+)"', b"".join(package.take_rows(part)()).decode()), strict=True))
        cells = [_column(column, looks) for column in grid.columns]
        most = len(grid.numbers) * sum(40 + max(map(len, column)) for column in cells)
        package.put_rows(part, functools.partial(_rows, grid, cells), most)
    return package, names


def _name(name: str, taken: list[str]) -> str:
    """A name that a sheet may bear and none bears yet."""
    plain = _UNTITLED.sub("_", visible(name)).strip("'")[:31] or NO_NAME
    known = {other.casefold() for other in taken}
    if plain.casefold() not in known:
        return plain
    return next(other for n in range(2, 10_000) if (other := f"{plain[:26]} {n}").casefold() not in known)


def _begin(ws: Any, grid: Grid) -> None:
    """Widths, and a row with each look, in whose place the rows will stand."""
    for number, column in enumerate(grid.columns):
        longest = max((len(str(value)) for value in column.cells(slice(MEASURED))), default=0)
        ws.column_dimensions[column_letters(number)].width = min(WIDEST, max(8, longest + 2))
    if grid.hidden:
        ws.sheet_state = "hidden"
    pens = [style.pen(ws, kind) for kind in LOOKS]
    for pen in pens:
        pen.value = 1
    ws.append(pens)


def _rows(grid: Grid, cells: list[list[str]]) -> Iterator[bytes]:
    """Rows in XML; what stands behind the address of a cell is made once for each text."""
    for first in range(0, len(grid.numbers), ROWS):
        here = slice(first, first + ROWS)
        rows = [f"{row}" for row in grid.numbers[here].tolist()]
        lines = [f'<row r="{row}">' for row in rows]
        for number, (column, known) in enumerate(zip(grid.columns, cells, strict=True)):
            begin, codes = f'<c r="{column_letters(number)}', column.codes[here].tolist()
            lines = [
                f"{line}{begin}{row}{known[code]}" if known[code] else line
                for line, row, code in zip(lines, rows, codes, strict=True)
            ]
        yield "</row>".join([*lines, ""]).encode()


def _column(column: Coded, looks: dict[str, str]) -> list[str]:
    """What stands behind the address of a cell, for each distinct value; empty for none."""
    return [_cell(value, looks) for value in column.distinct]


def _cell(value: Any, looks: dict[str, str]) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, str):
        text = escape(_text(value), {"\r": "&#13;"})
        return f'" s="{looks["id"]}" t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
    timed = isinstance(value, dt.datetime) and value.time() != dt.time()
    kind = "stamp" if timed else "date" if isinstance(value, dt.date) else "number"
    number = value if isinstance(value, int | float) else float(to_excel(value))  # type: ignore[no-untyped-call]
    return f'" s="{looks[kind]}"><v>{repr(number).removesuffix(".0")}</v></c>'


def _text(text: str) -> str:
    """The text as typed; only what a workbook cannot hold is shown by its code, or cut and said."""
    if len(text) > LONGEST:
        text = f"{text[:LONGEST]} … (cut here: {len(text):,} characters in all)"
    return _UNWRITABLE.sub(lambda found: visible(found.group()), text)
