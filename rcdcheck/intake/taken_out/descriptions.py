"""The descriptive columns of a table, one row for each test row: who, what, where, when, rated how, pass or fail."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Coded, coded
from rcdcheck.intake.taken_out.boxes import boxes_of, describe_parts, name_parts
from rcdcheck.intake.taken_out.checks import take_checks
from rcdcheck.intake.taken_out.classes import CLASS_FIELDS, take_classes, take_kinds, take_ratings, take_unsure_classes
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.dates import take_dates
from rcdcheck.intake.taken_out.identifiers import (
    carry_boards,
    lines_apart,
    named_otherwise,
    places_apart,
    take_sites,
    trimmed,
    typed_identifiers,
    without_repeats,
)
from rcdcheck.intake.taken_out.numbers import take_numbers
from rcdcheck.numbering import combined, first_places
from rcdcheck.sheet_fields import DATE_FIELDS, FLAG_FIELDS, NUMBER_FIELDS, TEXT_FIELDS, WORDS_OF
from rcdcheck.terms import Flag


def describe(context: Context) -> pd.DataFrame:
    """One row for each test row with the columns TESTS; what no column states is 0, NaN, NaT or ABSENT."""
    n = len(context.at)
    assumed = dict(context.options.assume)
    out: dict[str, Any] = {name: np.zeros(n, dtype=np.int32) for name in (*TEXT_FIELDS, *WORDS_OF.values())}
    out |= {name: np.full(n, np.datetime64("NaT"), dtype="datetime64[us]") for name in DATE_FIELDS}
    out |= {name: np.full(n, np.nan) for name in NUMBER_FIELDS}
    out |= {name: np.full(n, Flag.ABSENT, dtype=np.int8) for name in FLAG_FIELDS}
    out |= {"clock_known": np.zeros(n, dtype=bool), "rated_residual_current": np.full(n, np.nan)}
    out["rated_unreadable"] = np.zeros(n, dtype=bool)
    out |= {"sheet": np.full(n, context.sheet, dtype=np.int32), "row": context.numbers.astype(np.int32)}
    identifiers = {name: typed_identifiers(context, name) for name in ("device", "board", "circuit", "serial")}
    identifiers["device"] = without_repeats(context, named_otherwise(identifiers))
    lines = lines_apart(context, identifiers)
    boxes = boxes_of(context, identifiers["device"])
    name_parts(context, boxes, identifiers)
    carry_boards(context, identifiers)
    places_apart(context, identifiers)
    out |= {name: context.codes(texts) for name, texts in identifiers.items()}
    for name in (name for name in TEXT_FIELDS if name not in (*identifiers, "kind", *CLASS_FIELDS)):
        columns = context.table.of(name) if name in WORDED else context.table.of(name)[:1]
        if columns:
            out[name] = context.codes(_side_by_side([trimmed(context.described(column)) for column in columns]))
        if name in context.facts:
            out[name][:] = context.vocabulary.code(as_typed(context.facts[name].value))
    if lines:
        out["outlet"][:] = 0
    take_kinds(context, out)
    take_classes(context, out)
    take_ratings(context, out, assumed)
    take_unsure_classes(context, out)
    take_checks(context, out)
    take_dates(context, out)
    take_numbers(context, out)
    describe_parts(context, boxes, out)
    take_sites(context, out)
    _error_cells(context, out)
    return pd.DataFrame(out, copy=False)


def _error_cells(context: Context, out: dict[str, Any]) -> None:
    """Error cells and formulas without a stored value in columns that hold no readings are pointed at too."""
    special = context.grid.special
    special = special[special["kind"].isin(ERROR_CODES)] if len(special) else special
    for column in context.table.columns if len(special) else ():
        if column in context.table.readings or column.meaning.field in ("", "ignore", "other_test"):
            continue
        mine = special[special["column"] == column.number]
        at = pd.Index(context.numbers).get_indexer(mine["row"])
        here = at[at >= 0]
        code, typed = np.full(len(context.at), "", dtype=object), np.full(len(context.at), "", dtype=object)
        code[here] = mine["kind"].map(ERROR_CODES).to_numpy()[at >= 0]
        typed[here] = mine["text"].to_numpy()[at >= 0]
        context.point(column, code, typed, np.full(len(code), "", dtype=object))
        if column.meaning.field == "rated_residual_current":
            out["rated_unreadable"][here] = True
        elif column.meaning.field in FLAG_FIELDS:
            out[column.meaning.field][here] = Flag.UNCLEAR


ERROR_CODES = {"error": "error-cell", "formula_without_value": "formula-without-value"}


WORDED = ("remedy", "remark")  # every column of them is read


def _side_by_side(columns: list[Coded]) -> Coded:
    """The texts of several columns as one, parted by semicolons where more than one says something."""
    if len(columns) == 1:
        return columns[0]
    number = combined(*(column.codes for column in columns))
    first = np.flatnonzero(first_places(number))
    texts = np.empty(len(first), dtype=object)
    texts[:] = ["; ".join(filter(None, parts)) for parts in zip(*(c.cells(first) for c in columns), strict=True)]
    return coded(texts).taken(number)
