"""Cells that no reading of their column may say, in columns that are read as something else or as nothing.

Numbers with the unit of a trip time or current that are larger than any limit, where nobody reads the column; and marks
of failure among checks that are read as values.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping

import numpy as np

from rcdcheck.intake.cells.currents import PREFERRED
from rcdcheck.intake.cells.numerals import numeral, tidy
from rcdcheck.intake.opened.grids import Coded
from rcdcheck.intake.understood.grammars import CHECK, Kind, grammars

LARGEST = 500.0  # ms: the largest limit of any reading (schemas/rules)
MOSTLY = 0.6  # share of the cells that says what a column holds
MANY = 500  # different texts in a column
_SCALE = {"mA": 1.0, "A": 1000.0, "uA": 0.001, "ms": 1.0, "s": 1000.0}


def too_large(column: Coded, codes: np.ndarray) -> set[int]:
    """Codes of numbers above any limit: times above 500 ms, currents above the rating next to their median."""
    counts = np.bincount(codes, minlength=len(column.distinct))
    used = _read(column, counts, Kind.CURRENT | Kind.MILLISECONDS)
    out: set[int] = set()
    for unit in (Kind.CURRENT, Kind.MILLISECONDS):
        values = {i: _value(column.distinct[i]) for i, kind in used.items() if kind & unit}
        if values and sum(counts[i] for i in values) >= MOSTLY * counts[1:].sum():
            limit = LARGEST if unit == Kind.MILLISECONDS else _rating(values)
            out |= {i for i, value in values.items() if value > limit}
    return out


def _read(column: Coded, counts: np.ndarray, wanted: Kind) -> dict[int, Kind]:
    """What reads each distinct cell; nothing where the first of very many are of another kind."""
    used = np.flatnonzero(counts[1:]) + 1
    first = sum(bool(grammars(cell) & wanted) for cell in column.distinct[used[:MANY]])
    if len(used) > MANY and first < MOSTLY * MANY:
        return {}
    return {i: grammars(column.distinct[i]) for i in used.tolist()}


def _value(cell: object) -> float:
    number = numeral(tidy(cell)) if isinstance(cell, str) else None
    if number is None:
        return 0.0
    return float(number.digits.replace(",", ".")) * _SCALE.get(number.unit, 1.0)


def _rating(values: Mapping[int, float]) -> float:
    """The smallest preferred rating that is no less than the median of currents that should lie below it."""
    middle = statistics.median(values.values())
    if middle > PREFERRED[-1]:  # "40 A": of circuits, and not of residual current devices
        return math.inf
    return next((rating for rating in PREFERRED if rating >= middle), PREFERRED[-1])


def failed_among_checks(column: Coded, codes: np.ndarray) -> set[int]:
    """Codes of fail marks in a column that is read as values though most of its cells are checks."""
    counts = np.bincount(codes, minlength=len(column.distinct))
    used = _read(column, counts, CHECK)
    checks = sum(counts[i] for i, kind in used.items() if kind & CHECK and not kind & Kind.NUMBER)
    if checks < MOSTLY * counts[1:].sum():
        return set()
    return {i for i, kind in used.items() if kind & Kind.FAIL and not kind & Kind.NUMBER}
