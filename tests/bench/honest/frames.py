"""A month of the second model as the tables that intake would read from its files, without writing them.

Where one month goes through files in a second, this takes a hundredth of it; second_model.py holds both against each
other. As intake does, a sheet of a workbook without a column of sites is taken for its site.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from habits import Files
from people import AT, HALF, RAMP, ZERO, Row

from rcdcheck import records
from rcdcheck.records import Bound, Codes, Flag, Input, Slot, State, Tables, Vocabulary

FIELDS = {
    "Asset": "device", "Site": "site", "Model": "model", "Portable or fixed": "kind", "Environment": "environment",
    "Tested by": "technician", "Instrument": "instrument", "Remarks": "remark", "Delay": "delay",
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


def tables_of(files: Files) -> Tables:
    """Every sheet of every file, rows in order; no formula, hidden row or day of saving is told."""
    sheets = [(f, name, rows) for f, book in enumerate(files.values()) for name, rows in book.items()]
    text = [file.endswith(".csv") for file in files]
    words = Vocabulary()
    told: list[Row] = [row for _, _, rows in sheets for row in rows]
    number = np.repeat(np.arange(len(sheets), dtype=np.int32), [len(rows) for _, _, rows in sheets])
    line = np.concatenate([np.arange(len(rows), dtype=np.int32) + 2 for _, _, rows in sheets])
    named = np.array(["" if text[f] else name for f, name, _ in sheets], dtype=object)
    return Tables(
        inputs=tuple(Input(name, None, "", 0, "audited") for name in files),
        sheets=_frame(records.SHEETS, len(sheets), input=[f for f, _, _ in sheets], sheet=named,
                      kind=["text" if text[f] else "xlsx" for f, _, _ in sheets]),
        columns=COLUMNS,
        tests=_tests(told, number, line, named, words),
        readings=_readings(told, line),
        rows=ROWS,
        passed_over=PASSED_OVER,
        cells=CELLS,
        unsettled=UNSETTLED,
        slots=tuple(SLOTS.values()),
        vocabulary=words.frozen(),
    )  # fmt: skip


def _tests(told: list[Row], number: Codes, line: Codes, named: Any, words: Vocabulary) -> pd.DataFrame:
    columns = {field: words.codes([row.get(head, "") for row in told]) for head, field in FIELDS.items()}
    if not all("Site" in row for row in told):
        has = np.array(["Site" in row for row in told])
        columns["site"] = np.where(has, columns["site"], words.codes(named)[number])
    typed = [row.get(AT, "") for row in told]
    return _frame(
        records.TESTS,
        len(told),
        **columns,
        tested_at=np.array([t.replace(" ", "T") or "NaT" for t in typed], dtype="datetime64[us]"),
        clock_known=np.array([len(t) > 10 for t in typed]),
        rated_residual_current=[float(row.get("Rated IΔn (mA)", "nan")) for row in told],
        declared=[DECLARED[row.get("Result", "")] for row in told],
        sheet=number,
        row=line,
    )


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
