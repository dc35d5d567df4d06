"""Numbers that describe a test and are none of its readings: those that test-sheet.json declares, in their unit."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.cells.distinct import Cells
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.sheet_fields import FIELDS, NUMBER_FIELDS


def take_numbers(context: Context, out: dict[str, Any]) -> None:
    """The first column of each, else the line above the table; what is no number is pointed at."""
    for name in NUMBER_FIELDS:
        for column in context.table.of(name)[:1]:
            cells = context.described(column)
            read = _read(name, cells)
            out[name] = read.value
            context.point(column, read.problem, cells, read.suggestion)
        if name in context.facts:
            _stated_number(context, context.facts[name], out)


def _read(name: str, cells: Cells) -> whole_columns.NumberColumn:
    highest = FIELDS[name].get("constraints", {}).get("maximum", math.inf)
    return whole_columns.read_numbers(cells, FIELDS[name].get("unit", ""), highest)


def _stated_number(context: Context, fact: Fact, out: dict[str, Any]) -> None:
    """A number above the table, in every row."""
    cells = np.empty(1, dtype=object)
    cells[0] = fact.value
    read = _read(fact.field, cells)
    out[fact.field][:] = read.value[0]
    if read.problem[0]:
        row, column = context.grid.place(fact.row, fact.column)
        context.findings.add(read.problem[0], sheet=context.sheet, row=row, column=column, typed=fact.value,
                             suggestion=str(read.suggestion[0]), heading="above the table")  # fmt: skip
