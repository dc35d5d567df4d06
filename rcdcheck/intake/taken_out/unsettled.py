"""What leaves a test unclear whatever its readings say: a cell that says something failed, a row that is torn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from rcdcheck.findings import catalogue
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.layout import Block
from rcdcheck.intake.understood.loud import loud_cells
from rcdcheck.intake.understood.loud_cell import Loud
from rcdcheck.intake.understood.torn import torn_rows
from rcdcheck.tables import UNSETTLED, empty

EACH = 3  # cells of one column that are pointed at one by one
TOGETHER = "cells-say-failed"  # the finding of a column with more


def heard(context: Context, block: Block, start: int) -> pd.DataFrame:
    """Rows of `Tables.unsettled`, and a finding for each cell of a whole table; `start`: number of its first test."""
    notes = {note for of_row in context.notes.values() for note in of_row.split("; ")}  # said of rows already
    cells = loud_cells(context.grid, context.table, context.rows, context.colours, context.legend)
    found = [
        *(loud for loud in cells if loud.tests or not any(note in loud.text for note in notes)),
        *torn_rows(context.grid, context.table, context.rows),
    ]
    if not found:
        return empty(UNSETTLED)
    test_at = dict(zip(context.at.tolist(), (block.rows["test"].to_numpy() + start).tolist(), strict=True))
    by_column: dict[tuple[str, int], list[Loud]] = {}
    for loud in found:
        by_column.setdefault((loud.code, loud.number), []).append(loud)
    rows = [row for (_, number), group in by_column.items() for row in _told(context, number, group, test_at)]
    return pd.DataFrame(rows, columns=list(UNSETTLED)).astype(UNSETTLED)


def _told(context: Context, number: int, group: Sequence[Loud], test_at: dict[int, int]) -> list[dict[str, object]]:
    """Each cell with its own finding, or one finding for a column of which many cells are loud."""
    together = number >= 0 and len(group) > EACH
    if together:
        first, last = group[0], group[-1]
        context.findings.add(TOGETHER, sheet=context.sheet, row=first.row, last_row=last.row,
                             column=first.column, heading=_heading(context, first), cells=len(group),
                             example=first.text[:80])  # fmt: skip
    return [row for loud in group for row in _rows(context, loud, test_at, said=together)]


def _rows(context: Context, loud: Loud, test_at: dict[int, int], *, said: bool) -> list[dict[str, object]]:
    tests: Sequence[int] = sorted({test_at[at] for at in loud.tests})
    kind = catalogue()[loud.code]
    message = kind.message.format_map({"typed": loud.text[:80], "suggestion": "", "heading": _heading(context, loud)})
    if not said:
        context.findings.add(loud.code, sheet=context.sheet, row=loud.row, column=loud.column,
                             test=tests[0] if tests else -1,
                             typed=loud.text, message=message)  # fmt: skip
    code = TOGETHER if said else loud.code  # that of the finding that tells of it
    told = {"code": code, "message": message, "sheet": context.sheet, "row": loud.row, "column": loud.column}
    return [{"test": np.int32(test), **told} for test in tests]


def _heading(context: Context, loud: Loud) -> str:
    """The heading over a loud cell of a test; a cell of another row is named by its column."""
    row = int(context.grid.numbers[loud.tests[0]]) if loud.tests else loud.row
    for c in context.table.columns:
        here = context.grid.place(row, c.number)
        if here == (loud.row, loud.column) or (not context.grid.turned and c.number == loud.column):
            return c.heading
    return "a column without heading"
