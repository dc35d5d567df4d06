"""Loud cells in the rows between tests: of the device they name, the tests pointing at them or the test above."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.loud_cell import COUNTED, Loud, cell_says_failed, is_number
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Table
from rcdcheck.numbering import distinct_codes

_LEGEND = re.compile(r"\b\w{1,12}\s*=\s*\w|legend|key:|\bcode\b|legende|légende", re.IGNORECASE)
_FOOTNOTE = re.compile(r"\s*(?:\w{2,10}\.?\s+)?[(\[]?(\d{1,2}|\*{1,4}|[†‡])[)\]]?\s?[:.)\]=–-]?\s+[^\W\d]{2}")
_SEE = r"(?<!\w)(?:see|note|fn|footnote|siehe|anm|fußnote|voir|nota|ver|vedi|zie|noot)"


def between_tests(grid: Grid, table: Table, rows: Rows) -> Iterator[Loud]:
    """Loud cells in rows between tests: of the device that they name, else of the test above (and no later one); a
    line further down that names none is told, and concerns no one test."""
    tests = np.flatnonzero(rows.kind == RowKind.TEST)
    if not len(tests):
        return
    last = int(tests[-1])
    own = sorted({c.number for c in table.columns})
    for at in np.flatnonzero(np.isin(rows.kind, (RowKind.NOTE, RowKind.SECTION, RowKind.TOTAL))):
        cells = [(c, cell) for c, cell in enumerate(grid.row(table.start + int(at))) if cell != ""]
        texts = [(c, as_typed(cell)) for c, cell in cells if own[0] <= c and _speaks(cell)]
        if not texts or any(_LEGEND.search(t) for _, t in texts):
            continue
        named = _named_in(grid, table, rows, [t for _, t in texts]) or _pointing_at(grid, table, rows, texts[0][1])
        near = [int(i) for i in tests[tests < at][-1:] if at - i <= 2 and (at <= last or at - i == 1)]
        concerned = named or ([] if rows.kind[at] == RowKind.TOTAL else [i + table.start for i in near])
        if concerned or rows.kind[at] == RowKind.NOTE:
            code = "cell-says-failed" if concerned else "line-says-failed"
            for column, text in texts:
                yield Loud(*grid.place(int(grid.numbers[table.start + int(at)]), column), text, tuple(concerned), code)
    yield from _beside(grid, table, rows)


def _beside(grid: Grid, table: Table, rows: Rows) -> Iterator[Loud]:
    """Loud cells in lines that stand below a table beside this one, and name a device of this one."""
    own = {c.number for c in table.columns}
    for at in np.flatnonzero(rows.kind == RowKind.BLANK) + table.start:
        cells = [(c, as_typed(cell)) for c, cell in enumerate(grid.row(int(at))) if cell != ""]
        if len(cells) == 1 and cells[0][0] not in own and _speaks(grid.cell(int(at), cells[0][0])):
            named = _named_in(grid, table, rows, [cells[0][1]])
            if named:
                yield Loud(*grid.place(int(grid.numbers[at]), cells[0][0]), cells[0][1], tuple(named))


def _named_in(grid: Grid, table: Table, rows: Rows, texts: list[str]) -> list[int]:
    """Positions of the test rows whose identifier stands in one of the texts."""
    found: list[int] = []
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    for c in table.of("device")[:1]:
        column = grid.columns[c.number]
        codes = column.codes[at]
        for code in distinct_codes(codes):
            name = as_typed(column.distinct[code]).strip()
            spelled = rf"(?<![\w-]){re.escape(name)}(?![\w-])"
            telling = len(name) >= (2 if re.search(r"\d", name) else 4)
            if telling and any(re.search(spelled, t, re.IGNORECASE) for t in texts):
                found += at[codes == code].tolist()
    return found


def _pointing_at(grid: Grid, table: Table, rows: Rows, text: str) -> list[int]:
    """Positions of the test rows that point at a footnote: "2", "note 2" or "see (2)" where it begins "Note 2:"."""
    footnote = _FOOTNOTE.match(text)
    if not footnote:
        return []
    mark = footnote[1].casefold()
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    counted = {c.number for c in table.columns if c.meaning.field in COUNTED}
    found: list[int] = []
    for number, column in enumerate(grid.columns):
        told = [i for i, cell in enumerate(column.distinct) if _points_at(cell, mark, alone=number not in counted)]
        found += at[np.isin(column.codes[at], told)].tolist() if told else []
    return found


def _points_at(cell: object, mark: str, *, alone: bool) -> bool:
    text = as_typed(cell).strip().casefold() if cell != "" else ""
    if not text:
        return False
    if alone and text.strip("()[].") == mark:
        return True
    named = rf"{_SEE}\W+(?:note|nr|no)?\W*{re.escape(mark)}(?!\w)"
    return bool(re.search(named, text)) or (not mark.isdigit() and text.endswith(mark))


def _speaks(cell: object) -> bool:
    kind = grammars(cell)
    if kind & (Kind.FAULT | Kind.NO_TRIP | Kind.BOUND) or cell_says_failed(cell):
        return True
    return bool(kind & Kind.FAIL) and not is_number(cell)
