"""Months of the second model as the tables that intake would read from their files, without writing them.

Where one month goes through files in half a second, this takes a fiftieth of it; second_model.py holds both against
each other. As intake does, a sheet of a workbook without a column of sites is taken for its site. Many months stand in
one table, each with names, days (1,000 apart) and a rated current of its own (a millionth of an mA apart), so that none
knows of another.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from habits import Files
from people import AT, HALF, RAMP, ZERO, Row

from rcdcheck import records
from rcdcheck.tables import Codes, Input, Tables, Vocabulary
from rcdcheck.terms import Bound, Flag, Slot, State

NAMES = {"Asset": "device", "Site": "site", "Tested by": "technician"}
FIELDS = {
    "Model": "model", "Portable or fixed": "kind", "Environment": "environment", "Instrument": "instrument",
    "Remarks": "remark", "Delay": "delay",
}  # fmt: skip
SLOTS = {
    ZERO: Slot("trip_time", 1.0, "0"),
    HALF: Slot("trip_time", 1.0, "180"),
    RAMP: Slot("trip_current"),
}
COLUMNS, ROWS, PASSED_OVER, CELLS, UNSETTLED = map(
    records.empty, (records.COLUMNS, records.ROWS, records.PASSED_OVER, records.CELLS, records.UNSETTLED)
)
DECLARED = {"": Flag.BLANK, "pass": Flag.PASS, "fail": Flag.FAIL}


@dataclass(frozen=True, eq=False)
class Sheets:
    """All sheets of all months, one after another: rows as typed; month and number of the sheet, line of each row."""

    rows: list[Row]
    month: Codes
    number: Codes
    line: Codes
    named: list[str]  # of each sheet; empty for delimited text


def tables_of(months: Sequence[Files]) -> tuple[Tables, Codes]:
    """Every sheet of every file, rows in order, and the month of each test; no formula or day of saving is told."""
    files = [(m, name) for m, month in enumerate(months) for name in month]
    books = [book for month in months for book in month.values()]
    held = [(f, name, rows) for f, book in enumerate(books) for name, rows in book.items()]
    text = [name.endswith(".csv") for _, name in files]
    lengths = [len(rows) for _, _, rows in held]
    sheets = Sheets(
        [row for _, _, rows in held for row in rows],
        np.repeat(np.array([files[f][0] for f, _, _ in held], dtype=np.int32), lengths),
        np.repeat(np.arange(len(held), dtype=np.int32), lengths),
        np.concatenate([np.arange(n, dtype=np.int32) + 2 for n in lengths]),
        ["" if text[f] else name for f, name, _ in held],
    )
    words = Vocabulary()
    tables = Tables(
        inputs=tuple(Input(name, None, "", 0, "audited") for _, name in files),
        sheets=_frame(records.SHEETS, len(held), input=[f for f, _, _ in held], sheet=sheets.named,
                      kind=["text" if text[f] else "xlsx" for f, _, _ in held]),
        columns=COLUMNS,
        tests=_tests(sheets, words),
        readings=_readings(sheets.rows, sheets.line),
        rows=ROWS,
        passed_over=PASSED_OVER,
        cells=CELLS,
        unsettled=UNSETTLED,
        slots=tuple(SLOTS.values()),
        vocabulary=words.frozen(),
    )  # fmt: skip
    return tables, sheets.month


def _tests(sheets: Sheets, words: Vocabulary) -> pd.DataFrame:
    told, month = sheets.rows, sheets.month
    own = [" " + chr(97 + m // 26) + chr(97 + m % 26) for m in range(int(month.max()) + 1)]  # names of its own
    columns = {
        field: words.codes([_named(row.get(head, ""), own[m]) for row, m in zip(told, month, strict=True)])
        for head, field in NAMES.items()
    } | {field: words.codes([row.get(head, "") for row in told]) for head, field in FIELDS.items()}
    has = np.array(["Site" in row for row in told])
    by_sheet = [_named(sheets.named[s], own[m]) for s, m in zip(sheets.number, month, strict=True)]
    columns["site"] = np.where(has, columns["site"], words.codes(by_sheet))
    typed = [row.get(AT, "") for row in told]
    at = np.array([t.replace(" ", "T") or "NaT" for t in typed], dtype="datetime64[us]")
    return _frame(
        records.TESTS,
        len(told),
        **columns,
        tested_at=at + (1000 * month.astype(np.int64)).astype("timedelta64[D]"),
        clock_known=np.array([len(t) > 10 for t in typed]),
        rated_residual_current=np.array([float(row.get("Rated IΔn (mA)", "nan")) for row in told]) - 1e-6 * month,
        declared=[DECLARED[row.get("Result", "")] for row in told],
        sheet=sheets.number,
        row=sheets.line,
    )


def _named(text: str, own: str) -> str:
    return text + own if text else ""


def _readings(told: list[Row], line: Codes) -> pd.DataFrame:
    texts = [row.get(head, "").rpartition("|")[2] for row in told for head in SLOTS]
    typed = np.flatnonzero([t != "" for t in texts])
    plain = np.array([re.fullmatch(r"[\d.]+", texts[i]) is not None for i in typed], dtype=bool)
    value = np.array([float(texts[i].lstrip("<>")) for i in typed])
    return _frame(
        records.READINGS,
        len(typed),
        test=typed // len(SLOTS),
        slot=typed % len(SLOTS),
        value=value.round(6),
        state=State.TRIPPED,
        bound=np.where(plain, Bound.EXACT, [Bound.ABOVE if texts[i][0] == ">" else Bound.BELOW for i in typed]),
        test_current=np.nan,
        row=line[typed // len(SLOTS)],
        column=typed % len(SLOTS) + 1,
    )


BLANK: dict[str, Any] = {"object": "", "bool": False, "datetime64[us]": np.datetime64("NaT", "us")}


def _frame(dtypes: Mapping[str, str], n: int, **given: Any) -> pd.DataFrame:
    """A frame of one of the tables of records.py; columns that are not given are blank."""
    columns = {name: given.get(name, BLANK.get(dtype, 0)) for name, dtype in dtypes.items()}
    return pd.DataFrame({name: np.broadcast_to(np.asarray(columns[name], dtype=d), n) for name, d in dtypes.items()})
