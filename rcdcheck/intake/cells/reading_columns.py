"""A whole column of readings: decimal sign, units, slips of one value or of all, and the state of each cell.

Plain numbers, typed or stored, are read in one go; all else once for each distinct text. Both ways give equal results.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from rcdcheck.intake.cells import slips
from rcdcheck.intake.cells.column_of_readings import ReadingColumn
from rcdcheck.intake.cells.decimal_sign import MIXED, decimal_sign
from rcdcheck.intake.cells.distinct import Cells, Notes, parted
from rcdcheck.intake.cells.plain_numbers import plain_values
from rcdcheck.intake.cells.readings import CEILING, FACTORS, over_range_numbers, reading
from rcdcheck.tables import Mask, Numbers, Texts
from rcdcheck.terms import Bound, State

BEYOND_RATED = 100  # times the rated residual current: no instrument lets so much flow


def read_readings(
    cells: Cells,
    *,
    quantity: str,
    unit: str = "",
    decimal: str = "",
    rated: Numbers | None = None,
    confirmed: bool = False,
    test_current: float = np.nan,
) -> ReadingColumn:
    """Read a column of cells ("" blank, str, float, dates) under a heading of `quantity` in `unit`.

    `decimal` settles the decimal sign where the caller knows it. `rated`, shape (n,), in mA, bounds currents.
    `confirmed`: a person stated the unit, so nothing asks whether it is another. `test_current`: mA, where stated; at
    the few mA of ground-fault interrupters seconds are no slip.
    """
    codes, distinct = parted(cells)
    text = np.fromiter((isinstance(c, str) for c in distinct), bool, len(distinct))
    highest = slips.highest(quantity, rated) / FACTORS[quantity].get(unit, 1.0)
    told = decimal or decimal_sign(distinct[text], highest)
    sign = told if told != MIXED else ""

    def read(in_unit: str) -> ReadingColumn:
        return _read(distinct, text, quantity, sign, in_unit).spread(codes)

    column = read(unit) if decimal else _say_decimals(read(unit), told)
    if rated is not None and quantity == "trip_current":
        column = _within_rated(column, rated)
    if not confirmed:
        column = slips.other_unit(column, read, quantity, unit, rated)
    if test_current <= slips.SLOW_CURRENT:
        return column
    return slips.lone_values(column, quantity, unit, rated)


def _within_rated(column: ReadingColumn, rated: Numbers) -> ReadingColumn:
    with np.errstate(invalid="ignore"):
        beyond = column.exact & (column.value > BEYOND_RATED * rated)
    return column.refused(beyond, "beyond-any-instrument", column.suggestion[beyond]) if beyond.any() else column


def _say_decimals(column: ReadingColumn, told: str) -> ReadingColumn:
    """Notes on the decimal sign; cells such as "1,234" in a column that does not tell are asked once."""
    notes: Notes = {",": (("decimal-comma-understood", {}),), MIXED: (("decimal-signs-mixed", {}),)}.get(told, ())
    column = replace(column, column_notes=notes) if notes else column
    at = column.problem == "decimal-or-thousands"
    if told in (".", ",") or not at.any():
        return column
    words = {"example": str(column.suggestion[at][0]), "cells": str(int(at.sum()))}
    return column.refused(at, "", column.suggestion[at], (("decimal-sign-undecided", words),))


def _read(cells: Texts, text: Mask, quantity: str, sign: str, unit: str) -> ReadingColumn:
    """Distinct cells, each read once."""
    n = len(cells)
    factor = FACTORS[quantity].get(unit, 1.0)
    with np.errstate(over="ignore"):
        scaled: Numbers = np.round(plain_values(cells, text, sign) * factor, 6)
    plain = (scaled > 0) & (scaled <= CEILING[quantity])
    if quantity == "trip_time":
        plain &= ~np.isin(scaled, over_range_numbers())
    rest = np.flatnonzero(~plain & ~(text & (cells == "")))
    column = ReadingColumn(
        present=plain.copy(),
        value=np.where(plain, scaled, np.nan),
        state=np.full(n, State.TRIPPED, dtype=np.int8),
        bound=np.full(n, Bound.EXACT, dtype=np.int8),
        problem=np.full(n, "", dtype=object),
        suggestion=np.full(n, "", dtype=object),
        note=np.full(n, "", dtype=object),
        remark=np.full(n, "", dtype=object),
        column_notes=(),
        own_unit=np.zeros(n, dtype=bool),
    )
    _read_rest(column, cells, rest, quantity, sign, unit)
    return column


def _read_rest(
    column: ReadingColumn, cells: Texts, rest: npt.NDArray[np.int64], quantity: str, sign: str, unit: str
) -> None:
    """Everything that is no plain number, into the arrays of `column`."""
    read = [reading(cell, quantity=quantity, decimal=sign, unit=unit) for cell in cells[rest]]
    for name in ("value", "state", "bound", "problem", "suggestion", "note", "remark"):
        target = getattr(column, name)
        target[rest] = np.array([getattr(r, name) for r in read], dtype=target.dtype)
    column.present[rest] = np.array([r.measured for r in read], dtype=bool)
    column.own_unit[rest] = np.array([r.unit != "" for r in read], dtype=bool)
