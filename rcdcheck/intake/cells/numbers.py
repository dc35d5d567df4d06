"""Numbers that are no readings, as their field is declared: "21.5", "21,5 °C", "~21"; a bound is no number."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.decimal_sign import decimal_sign
from rcdcheck.intake.cells.distinct import Cells, parted, spread
from rcdcheck.intake.cells.numerals import numeral, perhaps, tidy, value_of
from rcdcheck.intake.cells.phrases import says
from rcdcheck.tables import Numbers, Texts

UNKNOWN = "number-not-understood"


@dataclass(frozen=True)
class NumberColumn:
    """value: in the unit of the field, NaN where none can be read; problem, suggestion; shapes (n,)."""

    value: Numbers
    problem: Texts
    suggestion: Texts


def read_numbers(cells: Cells, unit: str, highest: float = math.inf) -> NumberColumn:
    """Numbers in `unit`, stated or not; `highest`: one above it is impossible, which may tell the decimal sign."""
    sign = decimal_sign([tidy(cell) for cell in parted(cells)[1] if isinstance(cell, str)], highest)
    return NumberColumn(*spread(cells, lambda cell: _number(cell, unit, sign), ("float64", "object", "object")))


def _number(cell: object, unit: str, sign: str) -> tuple[float, str, str]:
    if isinstance(cell, float):
        return (cell, "", "") if math.isfinite(cell) else (math.nan, UNKNOWN, "")
    text = tidy(as_typed(cell))
    if not text or says("not_measured", text):
        return math.nan, "", ""
    read = numeral(_without(unit, text) if isinstance(cell, str) else "")
    if read is None or read.unit or read.tail.strip() or read.sign in ("<", ">"):
        return math.nan, UNKNOWN, ""
    value = value_of(read.digits, sign if sign in (".", ",") else "")
    if value is None:
        both = (read.digits.replace(",", "."), read.digits.replace(",", "").replace(".", ""))
        return math.nan, UNKNOWN, perhaps(*both)
    return value, "", ""


def _without(unit: str, text: str) -> str:
    """The text without the unit behind its number, which may lack its sign of degrees: "21 °C", "21C"."""
    for typed in filter(None, (unit, unit.lstrip("°"))):
        if text.casefold().endswith(typed.casefold()):
            return text[: -len(typed)].rstrip()
    return text
