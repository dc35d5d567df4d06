"""Rows that are torn: an unquoted decimal comma, a stray line feed, a file cut off. What they hold has slid."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.loud import Loud
from rcdcheck.intake.understood.rows import RowKind, Rows
from rcdcheck.intake.understood.tables import Table
from rcdcheck.records import as_typed

USUAL = 0.2  # share of the rows up to which cells beyond the headings are no habit of the sheet


def torn_rows(grid: Grid, table: Table, rows: Rows) -> Iterator[Loud]:
    """Test rows of delimited text with more cells than headings, or broken off at the end of the file."""
    if grid.kind != "text" or table.label or grid.turned:
        return
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    last = max(c.number for c in table.columns)
    beyond = np.zeros(len(at), dtype=bool)
    for column in grid.columns[last + 1 :]:
        beyond |= column.codes[at] != 0
    if beyond.any() and beyond.sum() <= max(1, USUAL * len(at)):
        for position in at[beyond]:
            cells = [as_typed(c) for c in grid.row(int(position))[last + 1 :] if c != ""]
            yield Loud(int(grid.numbers[position]), last + 1, ", ".join(cells), (int(position),), "row-torn")
