"""Rows of a second or later visit, by a column that counts the visits: "Visit | 1", "Round | 2nd"."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.rounds import round_of
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Table


def in_visits(grid: Grid, table: Table, rows: Rows) -> Rows:
    """The rows of a table, those of a later visit noted as repeats; dates order them by themselves."""
    columns = table.of("visit")[:1]
    if not columns or table.of("tested_at"):
        return rows
    own = grid.columns[columns[0].number]
    number = np.array([round_of(as_typed(cell), bare=True) for cell in own.distinct], dtype=np.int64)
    visit = number[own.codes[table.start : table.stop]]
    tests = (rows.kind == RowKind.TEST) & (visit > 0)
    later = tests & (visit > visit[tests].min(initial=1))
    earlier = rows.repeats if len(rows.repeats) else np.zeros(len(visit), dtype=bool)
    return replace(rows, repeats=later | earlier)
