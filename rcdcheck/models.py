"""The tables of an audit as pandera models: columns, dtypes, and what each column holds, in which unit.

    intake ─▶ INTAKE ─▶ judging, scrutiny ─▶ JUDGED ─▶ grading ─▶ GRADED ─▶ reports

Each table is held to its model once, where it is handed on; what does not fit is a fault of ours, and nothing is
judged or written. Dtypes are looked at, and beside them only what is answered for a whole column at once, since tables
have millions of rows; what people typed is held to `schemas/test-sheet.json` in intake/taken_out/schema.py.

A code is the number of a text in `tables.Tables.vocabulary`, 0 for the empty one. Rows are numbered as the person sees
them (the spreadsheet's row, or the line of a text file); columns count from 0 and are shown as letters. What is not
known is NaN, NaT or an empty text.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.dtypes import immutable
from pandera.engines import pandas_engine

from rcdcheck.errors import TableError
from rcdcheck.sheet_fields import DATE_FIELDS, FIELDS, FLAG_FIELDS, NUMBER_FIELDS, TEXT_FIELDS, WORDS_OF
from rcdcheck.terms import Flag, Outcome, State, Verdict


@pandas_engine.Engine.register_dtype
@immutable
class Moment(pandas_engine.DataType):
    """A day or a time of day in whole microseconds; pandera's own dates are of any fineness."""

    type = np.dtype("datetime64[us]")

    def check(self, pandera_dtype: object, data_container: pd.Series[Any] | None = None) -> bool:
        """Whether a column is of this dtype."""
        return data_container is not None and data_container.dtype == self.type


def holds(what: str, unit: str = "", **constraints: Any) -> Any:
    """A column, what it holds and in which unit; what is not known is no breach."""
    return pa.Field(description=what, metadata={"unit": unit} if unit else None, nullable=True, **constraints)


class Table(pa.DataFrameModel):
    """What all models share: these columns, in any order, and no others."""

    class Config:
        """Options of pandera."""

        strict = True


# ── what intake hands on ──
class Sheets(Table):
    """One row for each sheet of each input; non_blank = heading + test + passed_over."""

    input: np.int32 = holds("index into Tables.inputs")
    sheet: object = holds("name of the sheet, empty for delimited text")
    kind: object = holds("xlsx, xls, xlsb, ods, text")
    hidden: bool = holds("whether the workbook hides it")
    saved_at: Moment = holds("when the workbook was saved last, as it says itself")
    non_blank: np.int64 = holds("rows that hold something")
    heading: np.int64 = holds("rows of headings")
    test: np.int64 = holds("rows that speak of a test")
    passed_over: np.int64 = holds("rows that do not")
    reason: object = holds("why no table was read, empty where one was")


class Columns(Table):
    """One row for each column of each table, with how it was understood."""

    sheet: np.int32 = holds("row of the sheets table")
    column: np.int16 = holds("where it stands in the sheet")
    row: np.int32 = holds("row of the heading")
    heading: object = holds("the heading as typed")
    meaning: object = holds("field name, `ignore`, `other_test`, or empty: not understood")
    unit: object = holds("unit of its cells as understood")
    number: np.int32 = holds("of the column in its table; differs from `column` where the table lies on its side")
    at: np.int32 = holds("row of its heading in its table")
    how: object = holds("one clause on how it was understood, empty where plain")
    why: object = holds("what speaks for the meaning, in clauses")
    other: object = holds("what it could also mean, empty where it is sure")
    other_why: object = holds("what speaks for that")
    margin: np.float64 = holds("how far that lies behind", unit="log-odds")
    samples: object = holds("its first three distinct cells")


class Tests(Table):
    """One row for each test. Beside these it has a column for each field of schemas/test-sheet.json but the readings:
    a code for a text, a Flag for a check (and `…_words`, a code, for what it says beside pass or fail), a float64 in
    the field's unit for a number, a Moment for a date.
    """

    clock_known: bool = holds("whether tested_at has a time of day")
    rated_residual_current: np.float64 = holds("rated residual current IΔn", unit="mA")
    rated_unreadable: bool = holds("something stands in its cell that cannot be read")
    sheet: np.int32 = holds("row of the sheets table")
    row: np.int32 = holds("first row that speaks of the test")

    @classmethod
    def build_schema_(cls, **options: Any) -> pa.DataFrameSchema:
        """The columns above behind those of the sheet's own fields."""
        said = super().build_schema_(**options)
        declared = {name: _declared(name, np.int32) for name in TEXT_FIELDS}
        declared |= {name: _declared(name, Moment) for name in DATE_FIELDS}
        declared |= {name: _declared(name, np.float64) for name in NUMBER_FIELDS}
        declared |= {name: _declared(name, np.int8, pa.Check.isin(list(Flag))) for name in FLAG_FIELDS}
        declared |= {words: _declared(name, np.int32) for name, words in WORDS_OF.items()}
        said.columns = {n: c.set_name(n) for n, c in declared.items()} | said.columns
        return said


def _declared(name: str, dtype: object, *checks: pa.Check) -> pa.Column:
    said = FIELDS[name]
    unit = {"unit": said["unit"]} if "unit" in said else None
    return pa.Column(dtype, list(checks), nullable=True, description=said["description"], metadata=unit)


class Readings(Table):
    """One row for each reading, in order of their tests."""

    test: np.int32 = holds("row of the tests table")
    slot: np.int16 = holds("index into Tables.slots", ge=0)
    value: np.float64 = holds("rounded once to 1e-6; NaN where there is no number", unit="ms or mA, as its slot")
    state: np.int8 = holds("State", isin=list(State))
    bound: np.int8 = holds("Bound")
    test_current: np.float64 = holds("where the sheet states it", unit="mA")
    text: np.int32 = holds("code: as typed")
    row: np.int32 = holds("row of its cell")
    column: np.int16 = holds("column of its cell")

    @pa.dataframe_check
    @classmethod
    def by_test(cls, readings: pd.DataFrame) -> bool:
        """Judging takes the readings of a test as one slice."""
        return bool(readings["test"].is_monotonic_increasing)


class Rows(Table):
    """Every row that was read as (part of) a test."""

    sheet: np.int32 = holds("row of the sheets table")
    row: np.int32 = holds("row of the sheet")
    test: np.int32 = holds("row of the tests table")
    column: np.int16 = holds("of the test, where its table lies on its side; else -1")


class PassedOver(Table):
    """Every row that was not."""

    sheet: np.int32 = holds("row of the sheets table")
    row: np.int32 = holds("row of the sheet")
    reason: object = holds("why")
    text: object = holds("its cells, shortened")
    holds_reading: bool = holds("whether something in it looks like a reading")


class Cells(Table):
    """Cells that are more than their value."""

    sheet: np.int32 = holds("row of the sheets table")
    row: np.int32 = holds("row of the cell")
    column: np.int16 = holds("column of the cell")
    kind: object = holds("formula, error, comment and so on")
    text: object = holds("what it says")


class Unsettled(Table):
    """What leaves a test unclear whatever its readings say: a cell that was heard, a column that is undecided."""

    test: np.int32 = holds("row of the tests table")
    code: object = holds("of findings.toml")
    message: object = holds("its sentence")
    sheet: np.int32 = holds("row of the sheets table")
    row: np.int32 = holds("row of the cell")
    column: np.int16 = holds("column of the cell")


class Pointed(Table):
    """Where a field of a test stands, of tables on their side and of all but the first of their sheet."""

    test: np.int32 = holds("row of the tests table")
    field: object = holds("name of the field")
    row: np.int32 = holds("row of the cell")
    column: np.int16 = holds("column of the cell")


# ── what judging and scrutiny hand on ──
class Verdicts(Table):
    """One row for each row of Readings."""

    verdict: np.int8 = holds("Verdict", isin=list(Verdict))
    reason: object = holds("code of findings.toml, empty for none")
    multiple: np.float64 = holds("as judged, also where only a test current was stated", unit="× rated current")
    limit: np.float64 = holds("that decides", unit="ms or mA, as its reading")
    limit_id: np.int32 = holds("row of the limits table, -1 for none")
    p_conform: np.float64 = holds("chance that the true value keeps its limits", unit="0 to 1")
    hint: object = holds("words that its sentence needs, empty for none")


class OutcomesOfTests(Table):
    """One row for each row of Tests."""

    device: np.int32 = holds("row of the devices table")
    visit: np.int32 = holds("number of the visit, over all devices")
    outcome: np.int8 = holds("Outcome", isin=list(Outcome))
    counted: bool = holds("False: the same test listed again")


class Devices(Table):
    """One row for each device."""

    site: np.int32 = holds("code")
    device: np.int32 = holds("code: its identifier")
    board: np.int32 = holds("code: its switchboard")
    location: np.int32 = holds("code")
    sheet: np.int32 = holds("row of the sheets table, where it is first named")
    row: np.int32 = holds("row of that sheet")
    kind: np.int32 = holds("code: portable, fixed or empty")
    environment: np.int32 = holds("code")
    outcome: np.int8 = holds("Outcome", isin=list(Outcome))
    tests: np.int32 = holds("how many tests are of it")
    tested_at: Moment = holds("latest visit")
    danger: np.int8 = holds("rank of its most dangerous failure, 1 first; 0 where nothing fails")
    retest_due: Moment = holds("by the intervals of the rule set")
    next_action: object = holds("what to do, a sentence")
    name: object = holds("what reports call it")
    alike: np.int32 = holds("group of devices that are perhaps the same, -1 for none")


class Outlets(Table):
    """One row for each outlet of each device."""

    device: np.int32 = holds("row of the devices table")
    outlet: np.int32 = holds("code")
    outcome: np.int8 = holds("Outcome", isin=list(Outcome))


class Reason(Table):
    """Why a test is not a pass, one row for each reason."""

    test: np.int32 = holds("row of the tests table")
    code: object = holds("of findings.toml")
    message: object = holds("its sentence")
    outcome: np.int8 = holds("Outcome that it leads to", isin=list(Outcome))
    sheet: np.int32 = holds("row of the sheets table")
    row: np.int32 = holds("row of the cell")
    column: np.int16 = holds("column of the cell, -1 for none")


class Reasons(Reason):
    """The same of all devices, the gravest of each first."""

    standing: bool = holds("False: settled by a later visit")
    device: np.int32 = holds("row of the devices table")
    outlet: np.int32 = holds("code")


class Limits(Table):
    """Every limit that judged something."""

    quantity: object = holds("trip_time or trip_current")
    rcd_type: object = holds("types that it holds for, by commas")
    waveform: object = holds("ac, pulsating, smooth_dc")
    multiple: np.float64 = holds("of a trip time", unit="× rated current")
    minimum: np.float64 = holds("least that conforms", unit="as `unit` says")
    maximum: np.float64 = holds("most that conforms", unit="as `unit` says")
    unit: object = holds("ms or mA")
    text: object = holds("the limit in words")
    source: object = holds("where its figure comes from")
    standing: object = holds("published, common practice, from memory")


class Noticed(Table):
    """What was noticed, in order of sheet, row, column and code; see findings.py."""

    code: object = holds("of findings.toml")
    severity: object = holds("danger, error, doubt, caution or note")
    message: object = holds("its sentence")
    test: np.int64 = holds("row of the tests table, -1 where the finding is of no one test")
    sheet: np.int64 = holds("row of the sheets table, -1 where it is of none")
    row: np.int64 = holds("0 where it is of no row")
    last_row: np.int64 = holds("= row, but for a trouble of a whole column or block")
    column: np.int64 = holds("-1 where it is of no cell")
    typed: object = holds("the cell as typed")
    suggestion: object = holds("what it may have meant")
    evidence: object = holds("dict of figures of a doubt, else None")
    count: np.int64 = holds("how many findings the row stands for")


class Questions(Table):
    """One row for each question of scrutiny and group."""

    question: object = holds("its name in scrutiny.method.QUESTIONS")
    group: object = holds("whose readings were asked")
    technician: object = holds("who tested them, empty for several")
    asked: bool = holds("whether it could be asked")
    why_not: object = holds("a clause, empty where it was")
    n: np.int64 = holds("how many readings, pairs or devices")
    statistic: np.float64 = holds("what was counted or measured, as its sentence says")
    expectation: np.float64 = holds("the same for independent readings")
    chance: np.float64 = holds("as printed: never below the smallest that the model supports", unit="0 to 1")
    adjusted: np.float64 = holds("after Holm, over all questions of a group", unit="0 to 1")
    strength: object = holds("word of strength")
    sentence: object = holds("what was seen")


# ── what grading adds ──
class Grades(Table):
    """A column more for each device."""

    grade: object = holds("how far its record can be relied on", isin=list("ABCD"))


INTAKE: dict[str, type[Table]] = {
    "sheets": Sheets, "columns": Columns, "tests": Tests, "readings": Readings, "rows": Rows,
    "passed_over": PassedOver, "cells": Cells, "unsettled": Unsettled, "pointed": Pointed,
}  # fmt: skip
JUDGED: dict[str, type[Table]] = {
    "verdicts": Verdicts, "test_outcomes": OutcomesOfTests, "devices": Devices, "outlets": Outlets, "reasons": Reasons,
    "limits": Limits, "findings": Noticed, "questions": Questions,
}  # fmt: skip
GRADED: dict[str, type[Table]] = {"grades": Grades}


def dtypes(model: type[Table]) -> dict[str, str]:
    """The dtype of each column of a model, as pandas names it."""
    return {name: str(column.dtype.type) for name, column in model.to_schema().columns.items()}


def hold(models: Mapping[str, type[Table]], frames: Mapping[str, pd.DataFrame]) -> None:
    """Hold each of these tables to its model. Raises TableError, which says table, column and check but no cell."""
    for name, model in models.items():
        if _fits(model, frames[name]):
            continue
        try:
            model.validate(frames[name], lazy=True, inplace=True)
        except pa.errors.SchemaErrors as breach:
            raise TableError(f"the table of {name} is not what its model says: {_told(breach)}") from None


def _fits(model: type[Table], frame: pd.DataFrame) -> bool:
    """Whether all dtypes and checks of a model hold. `validate` finds the same, and says what does not; but it takes a
    quarter of a millisecond for each column, which a day's sheet would notice."""
    if {name: str(dtype) for name, dtype in frame.dtypes.items()} != dtypes(model):
        return False
    schema = model.to_schema()
    of_columns = ((check, frame[name]) for name, column in schema.columns.items() for check in column.checks)
    of_frame = ((check, frame) for check in schema.checks)
    return all(check(held).check_passed for check, held in (*of_columns, *of_frame))


def _told(breach: pa.errors.SchemaErrors) -> str:
    """Columns and checks that failed; of what was found only names of columns and dtypes, which hold no cell."""
    cases = zip(*(breach.failure_cases[name] for name in ("column", "check", "failure_case")), strict=True)
    told = (f"{at}: {check}" + (f": {case}" if check.startswith(NAMED) else "") for at, check, case in cases)
    return "; ".join(dict.fromkeys(told))


NAMED = ("column_in_", "dtype(")  # checks whose failure is told by the name of a column or of a dtype
