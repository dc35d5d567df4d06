"""When each row was tested, is due again, and when its instrument is: columns, lines and facts above the table."""

from __future__ import annotations

from typing import Any

import numpy as np

from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.sheet_fields import DATE_FIELDS


def take_dates(context: Context, out: dict[str, Any]) -> None:
    """Day and time of the test and the days when it and its instrument are due: columns, lines, facts above."""
    for name in DATE_FIELDS:
        for column in context.table.of(name)[:1]:
            cells = context.described(column)
            as_of = context.options.as_of if name == "tested_at" else None
            read = whole_columns.read_dates(cells, order=context.options.date_order, as_of=as_of)
            out[name] = read.value.astype("datetime64[us]")
            if name == "tested_at":
                out["clock_known"] = read.clock_known
            context.point(column, read.problem, cells, read.suggestion)
            context.say(column, read.column_notes)
        if name in context.facts:
            _stated_date(context, context.facts[name], out)
    if context.rows.section_field == "tested_at" and not context.table.of("tested_at"):
        lines = context.rows.section[context.at - context.table.start]
        read = whole_columns.read_dates(lines, order=context.options.date_order, as_of=context.options.as_of)
        out["tested_at"] = np.where(np.isnat(read.value), out["tested_at"], read.value.astype("datetime64[us]"))
    for column in context.table.of("time")[:1]:
        cells = context.cells(column)
        clock = whole_columns.read_times(cells)
        known = ~np.isnat(clock.value) & ~np.isnat(out["tested_at"]) & ~out["clock_known"]
        out["tested_at"] = np.where(known, out["tested_at"] + clock.value, out["tested_at"])
        out["clock_known"] = out["clock_known"] | known
        context.point(column, clock.problem, cells, clock.suggestion)


def _stated_date(context: Context, fact: Fact, out: dict[str, Any]) -> None:
    """A date above the table, in every row; what is wrong with it is said at its own cell."""
    cells = np.empty(1, dtype=object)
    cells[0] = fact.value
    as_of = context.options.as_of if fact.field == "tested_at" else None
    read = whole_columns.read_dates(cells, order=context.options.date_order, as_of=as_of)
    out[fact.field][:] = read.value[0]
    if fact.field == "tested_at":
        out["clock_known"][:] = read.clock_known[0]
    told: list[tuple[str, dict[str, str]]] = [(read.problem[0], {})] if read.problem[0] else []
    for code, words in [*told, *read.column_notes]:
        shown: dict[str, Any] = {"heading": "above the table", **words}
        row, column = context.grid.place(fact.row, fact.column)
        context.findings.add(code, sheet=context.sheet, row=row, column=column, typed=fact.value,
                             suggestion=str(read.suggestion[0]), **shown)  # fmt: skip
