"""Cells that say that something failed, wherever they stand: each counts as what it is, or leaves its device unclear.

Readings, checks, ratings and remarks are heard by those who read their columns. This file listens to everything else:
to columns of another meaning or of none, to comments, struck and coloured cells, to the rows between tests.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Coded, Grid
from rcdcheck.intake.understood.asking import NO, YES, answer, asks_for_fault
from rcdcheck.intake.understood.candidates import QUIET
from rcdcheck.intake.understood.colours import Colours
from rcdcheck.intake.understood.excess import failed_among_checks, too_large
from rcdcheck.intake.understood.grammars import CHECK, Kind, grammars
from rcdcheck.intake.understood.legend import Legend, explained
from rcdcheck.intake.understood.loud_cell import COUNTED, RARE, WORDED, Loud, is_loud, may_speak
from rcdcheck.intake.understood.loud_lines import between_tests
from rcdcheck.intake.understood.loud_marks import marked
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Table
from rcdcheck.numbering import distinct_codes
from rcdcheck.sheet_fields import NUMBER_FIELDS

MEASURED = ("reading", "pair", "value")
UNDECIDED = ("", *QUIET)  # meanings that nobody reads
MISTAKEN = 0.5  # share of loud cells above which a column is no such column, and every cell of it may say something
MANY = 500  # different texts in a column


def loud_cells(grid: Grid, table: Table, rows: Rows, colours: Colours, legend: Legend) -> list[Loud]:
    """All loud cells of a table that nobody else hears; `colours` and `legend`: as the sheet explains them."""
    return [
        *_in_columns(grid, table, rows, legend),
        *marked(grid, table, rows, colours),
        *between_tests(grid, table, rows),
    ]


def _in_columns(grid: Grid, table: Table, rows: Rows, legend: Legend) -> Iterator[Loud]:
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    meaning = {c.number: c.meaning.field for c in table.columns}
    headed = {c.number for c in table.columns}
    stated = {c.number for c in table.columns if c.confirmed}
    worded = {c.number for c in table.columns if c.meaning.slot and 0 < c.meaning.slot.multiple < 1}  # words are read
    asking = {c.number for c in table.columns if asks_for_fault(c.heading)}
    span = _span(table, headed, len(grid.columns))
    for number, column in enumerate(grid.columns):
        field = meaning.get(number, "")
        if number not in headed and number not in span:
            continue
        codes = column.codes[at]
        if field in COUNTED:
            told = failed_among_checks(column, codes) if field in MEASURED and number not in worded else set()
        else:
            told = _loud_codes(column, codes, field)
            told |= _explained_as_fail(column, codes, legend)
            told |= too_large(column, codes) if field not in NUMBER_FIELDS else set()
            told = _answered(column, told, codes) if field in WORDED and number in asking else told
        if not told:
            continue
        loud = np.isin(codes, list(told))
        if number not in stated and field in UNDECIDED and loud.sum() > MISTAKEN * (codes > 0).sum():
            loud = codes > 0
        for i in np.flatnonzero(loud):
            place = grid.place(int(grid.numbers[at[i]]), number)
            yield Loud(*place, as_typed(column.distinct[codes[i]]), (int(at[i]),), number=number)


def _explained_as_fail(column: Coded, codes: np.ndarray, legend: Legend) -> set[int]:
    """Codes of the marks that the sheet explains as a fault: "BTN = button dead"."""
    if Kind.FAIL not in legend.values() and Kind.NO_TRIP not in legend.values():
        return set()
    return {
        int(i) for i in np.unique(codes) if i and explained(column.distinct[i], legend) in (Kind.FAIL, Kind.NO_TRIP)
    }


def _answered(column: Coded, told: set[int], codes: np.ndarray) -> set[int]:
    """Loud cells under a heading that asks for a fault: "yes" is one, "no" is none."""
    said = {int(i): answer(as_typed(column.distinct[i])) for i in distinct_codes(codes) if i}
    return {i for i in told if said.get(i) != NO} | {i for i, a in said.items() if a == YES}


def _span(table: Table, headed: set[int], width: int) -> set[int]:
    """Columns that belong to a table: its own, those between, and those beside it where no other table stands there."""
    return set(range(min(headed), table.beyond if table.beyond >= 0 else width))


def _loud_codes(column: Coded, codes: np.ndarray, field: str) -> set[int]:
    """Codes of the cells of a column that are loud there."""
    counts = np.bincount(codes, minlength=len(column.distinct))
    filled_in = np.flatnonzero(counts[1:]) + 1
    speaking = filled_in[column.ask(may_speak, filled_in)]
    if not len(speaking):
        return set()
    # of very many texts those that could not speak are all alike
    used = (filled_in if len(filled_in) <= MANY else speaking).tolist()
    kinds = {i: grammars(column.distinct[i]) for i in used}
    filled = int(counts[1:].sum())
    checks = sum(int(counts[i]) for i in used if kinds[i] & (CHECK | Kind.UNMEASURED)) / filled
    sparse = filled <= 0.34 * len(codes)

    def rare(wanted: Kind) -> bool:
        some = sum(int(counts[i]) for i in used if kinds[i] & wanted)
        return some <= max(1, RARE * filled)

    return {i for i in used if is_loud(column.distinct[i], kinds[i], field, checks, sparse, rare)}
