"""Rows that are torn: an unquoted decimal comma, a stray line feed, a file cut off. What they hold has slid."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import NO_HEADING, as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.loud_cell import Loud
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Table
from rcdcheck.tables import Mask

USUAL = 0.2  # share of the rows up to which cells beyond the headings are no habit of the sheet


def torn_rows(grid: Grid, table: Table, rows: Rows) -> Iterator[Loud]:
    """Test rows of delimited text with more cells than headings, of two lines, or cut off at the end of the file."""
    if table.label or not (grid.pasted or (grid.kind == "text" and not grid.turned)):
        return
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    headed = max((c.number for c in table.columns if c.heading != NO_HEADING), default=len(grid.columns))
    last = max(c.number for c in table.columns)
    parted = _parted_numbers(grid, table, at)
    beyond, unheaded = np.zeros(len(at), dtype=bool), np.zeros(len(at), dtype=bool)
    for number, column in enumerate(grid.columns[headed + 1 :], headed + 1):
        (beyond if number > last else unheaded)[column.codes[at] != 0] = True
    if beyond.sum() > max(1, USUAL * len(at)):  # a habit of the sheet
        beyond[:] = False
    for position in at[beyond | (unheaded & parted)]:
        cells = [as_typed(c) for c in grid.row(int(position))[headed + 1 :] if c != ""]
        yield Loud(*grid.place(int(grid.numbers[position]), headed + 1), ", ".join(cells), (int(position),), "row-torn")
    yield from _broken(grid, table, at)


def _parted_numbers(grid: Grid, table: Table, at: npt.NDArray[np.int64]) -> Mask:
    """Rows with a whole number where nearly all readings of the column have decimals, shape (rows,)."""
    parted = np.zeros(len(at), dtype=bool)
    for c in table.readings:
        column = grid.columns[c.number]
        codes = column.codes[at]
        fine = np.array([_FINE.fullmatch(as_typed(t)) is not None for t in column.distinct], dtype=bool)[codes]
        whole = np.array([as_typed(t).isdecimal() for t in column.distinct], dtype=bool)[codes]
        if fine.sum() >= MOSTLY * (fine | whole).sum():
            parted |= whole
    return parted


_FINE = re.compile(r"\d+[.,]\d+")
MOSTLY = 0.8


def _broken(grid: Grid, table: Table, at: npt.NDArray[np.int64]) -> Iterator[Loud]:
    """Test rows that a stray line break has torn in two, and a last row whose last reading may be cut off."""
    measured = {c.number for c in table.readings}
    broken = grid.special[grid.special["kind"].isin(["torn", "cut_off"])]
    tests = set(at.tolist()) if len(broken) else set()
    for cell in broken.itertuples():
        (position,) = grid.positions([cell.row]).tolist()
        if position in tests and (cell.kind == "torn" or cell.column in measured):
            code = "row-in-two" if cell.kind == "torn" else "file-cut-off"
            yield Loud(*grid.place(int(cell.row), int(cell.column)), as_typed(cell.text), (position,), code)
