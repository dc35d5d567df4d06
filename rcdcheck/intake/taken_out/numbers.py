"""Numbers that describe a test and are none of its readings: those that test-sheet.json declares, in their unit."""

from __future__ import annotations

import math
from typing import Any

from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.tables import FIELDS, NUMBER_FIELDS


def take_numbers(context: Context, out: dict[str, Any]) -> None:
    """The first column of each; a cell that is no number is pointed at."""
    for name in NUMBER_FIELDS:
        for column in context.table.of(name)[:1]:
            cells = context.described(column)
            field = FIELDS[name]
            highest = field.get("constraints", {}).get("maximum", math.inf)
            read = whole_columns.read_numbers(cells, field.get("unit", ""), highest)
            out[name] = read.value
            context.point(column, read.problem, cells, read.suggestion)
