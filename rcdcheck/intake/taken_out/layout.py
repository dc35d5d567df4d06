"""From the rows of one table to tests and readings: wide (a row per outlet), long (a row per reading), mixed.

In a wide table each test row is a test. Where a column says the phase, the multiple or the quantity of its row, rows of
the same device, outlet, date and person form one test, and a reading that would stand twice begins a second test.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells import whole_columns
from rcdcheck.intake.cells.rounds import round_of
from rcdcheck.intake.taken_out.context import Context
from rcdcheck.intake.taken_out.descriptions import describe
from rcdcheck.intake.taken_out.readings import take_readings
from rcdcheck.intake.taken_out.row_fields import (
    ROW_FIELDS,
    checks_of_rows,
    currents_agree,
    ratings_of_rows,
    row_fields,
)
from rcdcheck.intake.taken_out.row_remarks import add_remarks, without_untested
from rcdcheck.intake.understood.headed import outlet_named
from rcdcheck.intake.understood.lexicon import device_apart
from rcdcheck.sheet_fields import FLAG_FIELDS, TEXT_FIELDS, WORDS_OF
from rcdcheck.tables import POINTED, ROWS, Vocabulary, empty
from rcdcheck.terms import Flag


@dataclass
class Block:
    """What one table gave, tests counted inside the block; dtypes TESTS, READINGS, ROWS and POINTED."""

    tests: pd.DataFrame
    readings: pd.DataFrame
    rows: pd.DataFrame
    pointed: pd.DataFrame


def lay_out(context: Context) -> Block:
    """Tests and readings of one table, or of one outlet of a table whose outlets have columns of their own."""
    per_row = describe(context)
    by_row = row_fields(context)
    checks_of_rows(context, per_row, by_row)
    ratings_of_rows(context, per_row, by_row)
    rated = per_row["rated_residual_current"].to_numpy()
    currents_agree(context, by_row, rated)
    readings = take_readings(context, rated, by_row)
    add_remarks(context, per_row)
    readings = without_untested(context, per_row, readings)
    if context.outlet:
        _of_outlet_or_visit(context, per_row)
    test_of_row = _tests_of_rows(per_row, by_row)
    readings["test"] = test_of_row[readings["test"]]
    tests = _merge_rows(per_row, test_of_row, context.vocabulary)
    shown = pd.DataFrame({"sheet": context.sheet, "row": context.numbers, "test": test_of_row, "column": -1})
    order = np.argsort(readings["test"], kind="stable")
    in_order = pd.DataFrame({name: readings.pop(name)[order] for name in list(readings)}, copy=False)
    return Block(tests, in_order, shown.astype(ROWS), _pointed(context, tests))


def _pointed(context: Context, tests: pd.DataFrame) -> pd.DataFrame:
    """Where each field of each test stands: of tables on their side, and of all but the first table of a sheet."""
    if context.first and not context.grid.turned:
        return empty(POINTED)
    at, number = context.grid.positions(tests["row"]), np.arange(len(tests), dtype=np.int32)
    parts = []
    for column in context.table.columns:
        if column.meaning.field and column not in context.table.readings:
            row, of = context.grid.places_of(at, column.number)
            parts.append(pd.DataFrame({"test": number, "field": column.meaning.field, "row": row, "column": of}))
    return pd.concat(parts, ignore_index=True).astype(POINTED) if parts else empty(POINTED)


def _of_outlet_or_visit(context: Context, per_row: pd.DataFrame) -> None:
    """What the columns of this block are of: a visit by its date or number, a device of each row's board, an outlet."""
    options = context.options
    label = np.array([context.outlet], dtype=object)
    date = whole_columns.read_dates(label, order=options.date_order, as_of=options.as_of).value[0]
    if round_of(context.outlet):
        return  # `row_remarks` says which of them came later
    if device_apart(context.outlet):
        where = "device" if context.table.of("device") else "board"
        texts = context.vocabulary.frozen()[per_row[where].to_numpy()]
        named = np.array([f"{place} / {context.outlet}" if place else context.outlet for place in texts], dtype=object)
        per_row["device"] = context.codes(named)
    elif (
        np.isnat(date) and _only_numbered(context) and not outlet_named(context.outlet)
    ):  # stand 1 of pier A, of pier B
        per_row["board"] = np.int32(context.vocabulary.code(context.outlet))
    elif np.isnat(date):
        per_row["outlet"] = np.int32(context.vocabulary.code(context.outlet))
    else:
        per_row["tested_at"] = np.full(len(per_row), date, dtype="datetime64[us]")


def _only_numbered(context: Context) -> bool:
    """Whether devices have no other names than 1, 2, 3."""
    columns = context.table.of("device")[:1]
    return bool(columns) and all(as_typed(cell).strip().isdigit() for cell in context.cells(columns[0]).parted()[1])


def _tests_of_rows(per_row: pd.DataFrame, by_row: dict[str, Any]) -> npt.NDArray[np.int32]:
    """Number of the test that each row belongs to, counted from 0 in order of first rows."""
    n = len(per_row)
    if not any(name in by_row for name in ROW_FIELDS):
        return np.arange(n, dtype=np.int32)
    keys = ["site", "board", "device", "outlet", "technician", "instrument"]
    key = per_row[keys].assign(day=per_row["tested_at"].to_numpy().astype("datetime64[D]"))
    alone = key["device"].to_numpy() == 0  # unnamed rows stand alone
    key["device"] = np.where(alone, -1 - np.arange(n), key["device"].to_numpy())
    signature = pd.DataFrame({k: v for k, v in by_row.items() if k in ROW_FIELDS}, index=key.index)
    whole = pd.concat([key, signature], axis=1)
    again = whole.groupby(list(whole), dropna=False, sort=False).cumcount()
    return key.assign(again=again).groupby([*key, "again"], dropna=False, sort=False).ngroup().to_numpy(np.int32)


def _merge_rows(per_row: pd.DataFrame, test_of_row: npt.NDArray[np.int32], vocabulary: Vocabulary) -> pd.DataFrame:
    """One row for each test: the first statement of each field, the worst flag, all remarks."""
    if len(per_row) == (test_of_row.max() + 1 if len(test_of_row) else 0):
        return per_row
    stated = per_row.copy()
    texts = (*TEXT_FIELDS, *WORDS_OF.values())
    for name in texts:
        stated[name] = stated[name].where(stated[name] > 0)
    tests = stated.groupby(test_of_row).first()
    for name in FLAG_FIELDS:
        severity = per_row[name].map({Flag.ABSENT: 0, Flag.BLANK: 1, Flag.PASS: 2, Flag.UNCLEAR: 3, Flag.FAIL: 4})
        worst = severity.groupby(test_of_row).max()
        tests[name] = worst.map({0: Flag.ABSENT, 1: Flag.BLANK, 2: Flag.PASS, 3: Flag.UNCLEAR, 4: Flag.FAIL}).astype(
            "int8"
        )
    for name in texts:
        tests[name] = tests[name].fillna(0).astype("int32")
    for name in ("remark", "remedy", *WORDS_OF.values()):
        _join_texts(per_row, test_of_row, tests, name, vocabulary)
    return tests.reset_index(drop=True)


def _join_texts(
    per_row: pd.DataFrame,
    test_of_row: npt.NDArray[np.int32],
    tests: pd.DataFrame,
    name: str,
    vocabulary: Vocabulary,
) -> None:
    some = per_row[name].to_numpy() > 0
    distinct = pd.DataFrame({"test": test_of_row[some], "code": per_row[name].to_numpy()[some]}).drop_duplicates()
    several = distinct[distinct.duplicated("test", keep=False)]
    if len(several):
        texts = vocabulary.frozen()
        for test, group in several.groupby("test"):
            tests.loc[test, name] = vocabulary.code("; ".join(texts[group["code"].to_numpy()]))
