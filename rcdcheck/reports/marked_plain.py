"""A plain workbook with the cells of another format in the same places, as a start for its marked copy."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from rcdcheck.records import Audit, column_letters
from rcdcheck.reports import excel_style as style
from rcdcheck.reports.excel_archive import NO_TIME, archive
from rcdcheck.showing import visible

if TYPE_CHECKING:
    from rcdcheck.intake.opened.grids import Grid

NO_NAME = "Sheet1"  # of a sheet without a name; no site is read from it
CHANGED = "{name} has changed or vanished since it was audited and was not marked. Audit it again."
LONGEST = 32_000  # characters of a cell
MEASURED, WIDEST = 200, 40  # rows from which widths are taken; characters of a column
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_UNTITLED = re.compile(r"[\[\]:*?/\\]")


def plain_workbook(audit: Audit, input_number: int) -> tuple[bytes, list[str]]:
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
        _sheet(book.create_sheet(names[-1]), grid)
    return b"".join(archive(book)), names


def _name(name: str, taken: list[str]) -> str:
    """A name that a sheet may bear and none bears yet."""
    plain = _UNTITLED.sub("_", visible(name)).strip("'")[:31] or NO_NAME
    known = {other.casefold() for other in taken}
    if plain.casefold() not in known:
        return plain
    return next(other for n in range(2, 10_000) if (other := f"{plain[:26]} {n}").casefold() not in known)


def _sheet(ws: Any, grid: Grid) -> None:
    for number, column in enumerate(grid.columns):
        longest = max((len(str(value)) for value in column.cells(slice(MEASURED))), default=0)
        ws.column_dimensions[column_letters(number)].width = min(WIDEST, max(8, longest + 2))
    if grid.hidden:
        ws.sheet_state = "hidden"
    pens = {kind: style.pen(ws, kind) for kind in ("id", "number", "date", "stamp")}
    last = 0
    for row, *values in zip(grid.numbers.tolist(), *(c.cells() for c in grid.columns), strict=True):
        for _ in range(last + 1, row):
            ws.append([])
        ws.append(_cells(pens, tuple(values)))
        last = row


def _cells(pens: dict[str, Any], values: tuple[Any, ...]) -> Iterator[Any]:
    for value in values:
        if value is None or value == "":
            yield None
        elif isinstance(value, str):
            cell = pens["id"]
            cell.value = _text(value)
            cell.data_type = "s"
            yield cell
        else:
            timed = isinstance(value, dt.datetime) and value.time() != dt.time()
            cell = pens["stamp" if timed else "date" if isinstance(value, dt.date) else "number"]
            cell.value = value
            yield cell


def _text(text: str) -> str:
    """The text as typed; only what a workbook cannot hold is shown by its code, or cut and said."""
    if len(text) > LONGEST:
        text = f"{text[:LONGEST]} … (cut here: {len(text):,} characters in all)"
    return _UNWRITABLE.sub(lambda found: visible(found.group()), text)
