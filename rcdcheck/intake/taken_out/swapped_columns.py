"""A column of trip times and one of ramp currents that have changed places: neither is read."""

from __future__ import annotations

import numpy as np

from rcdcheck.intake.cells.whole_columns import ReadingColumn, looks_swapped, read_readings
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.settling import name_of, option
from rcdcheck.intake.understood.table import Column
from rcdcheck.tables import Numbers

SAMPLED = 2_000  # rows that tell


def swapped_columns(context: Context, rated: Numbers) -> frozenset[int]:
    """Numbers of the columns that have changed places, each pair said once; what a person stated is not asked."""
    asked = [c for c in context.table.of("reading") if c.meaning.slot and not c.confirmed]
    times = [c for c in asked if c.meaning.slot and c.meaning.slot.quantity == "trip_time"]
    currents = [c for c in asked if c.meaning.slot and c.meaning.slot.quantity == "trip_current"]
    read = {c.number: _sample(context, c, rated) for c in asked} if times and currents else {}
    found: set[int] = set()
    for current in currents:
        alike = [t for t in times if looks_swapped(read[t.number], read[current.number], rated[:SAMPLED])]
        if alike:
            # the one that states the other unit, else the nearest
            time = min(alike, key=lambda t: (not _states(read[t.number]), abs(t.number - current.number)))
            found |= {time.number, current.number}
            _say(context, time, current)
    return frozenset(found)


def _sample(context: Context, column: Column, rated: Numbers) -> ReadingColumn:
    quantity = column.meaning.slot.quantity if column.meaning.slot else "trip_time"
    unit = column.meaning.unit
    cells = context.cells(column).taken(slice(SAMPLED))
    return read_readings(cells, quantity=quantity, unit=unit, rated=rated[:SAMPLED], confirmed=True)


def _states(read: ReadingColumn) -> bool:
    return bool(np.any(read.problem == "unit-of-other-quantity"))


def _say(context: Context, time: Column, current: Column) -> None:
    first, last = int(context.numbers[0]), int(context.numbers[-1])
    context.findings.add("columns-perhaps-swapped", sheet=context.sheet, row=first, last_row=last, column=time.number,
                         heading=time.heading, other=current.heading,
                         suggestion=_options(context, time, current))  # fmt: skip


def _options(context: Context, time: Column, current: Column) -> str:
    """Both as they are headed, or both changed over."""
    names = name_of(time.meaning), name_of(current.meaning)

    def both(of_time: str, of_current: str) -> str:
        pairs = ((time, of_time), (current, of_current))
        return " ".join(option(context.grid, context.table, c, name) for c, name in pairs)

    return f"{both(*names)} or {both(*reversed(names))}"
