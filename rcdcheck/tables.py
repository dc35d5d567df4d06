"""The tables between intake and reports: their columns, their dtypes, and what each column holds.

Texts of a run live once in one vocabulary; the tables hold int32 codes into it (0 is the empty text), so that
a million rows group and compare as whole numbers. `Tables.texts` turns codes back. Rows are numbered as the
person sees them (the spreadsheet's row, or the line of a text file); columns count from 0 and are shown as letters.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.terms import Slot

Texts = npt.NDArray[np.object_]
Codes = npt.NDArray[np.int32]
Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


# ── columns of the tests table that schemas/test-sheet.json declares ──
_DECLARED: list[dict[str, Any]] = data.document("test-sheet.json")["fields"]
_WORDS = [field for field in _DECLARED if field["type"] == "string"]
_CHECK = ["pass", "fail"]
FLAG_FIELDS = tuple(f["name"] for f in _WORDS if f["constraints"].get("enum") == _CHECK)  # int8 of Flag
TEXT_FIELDS = tuple(f["name"] for f in _WORDS if f["name"] not in FLAG_FIELDS)  # int32 codes into the vocabulary
DATE_FIELDS = tuple(f["name"] for f in _DECLARED if f["type"] in ("date", "datetime"))  # datetime64[us], NaT: not known
WORDS_OF = {name: f"{name}_words" for name in ("visual", "push_button")}  # codes: what it says beside pass or fail

TESTS = {
    **dict.fromkeys(TEXT_FIELDS, "int32"),
    **dict.fromkeys(DATE_FIELDS, "datetime64[us]"),
    **dict.fromkeys(FLAG_FIELDS, "int8"),
    **dict.fromkeys(WORDS_OF.values(), "int32"),
    "clock_known": "bool",  # whether tested_at has a time of day
    "rated_residual_current": "float64",  # mA, NaN where not known
    "rated_unreadable": "bool",  # something stands in its cell that cannot be read
    "sheet": "int32",  # row of the sheets table
    "row": "int32",  # first row that speaks of the test
}
READINGS = {
    "test": "int32",  # row of the tests table; readings are sorted by it
    "slot": "int16",  # index into Tables.slots
    "value": "float64",  # ms or mA, rounded once to 1e-6; NaN where there is no number
    "state": "int8",  # State
    "bound": "int8",  # Bound
    "test_current": "float64",  # mA, where the sheet states it; else NaN
    "text": "int32",  # as typed
    "row": "int32",
    "column": "int16",
}
SHEETS = {
    "input": "int32",  # index into Tables.inputs
    "sheet": "object",  # name of the sheet, empty for delimited text
    "kind": "object",  # xlsx, xls, xlsb, ods, text
    "hidden": "bool",
    "saved_at": "datetime64[us]",
    "non_blank": "int64",  # = heading + test + passed_over
    "heading": "int64",
    "test": "int64",
    "passed_over": "int64",
    "reason": "object",  # why no table was read, empty where one was
}
COLUMNS = {
    "sheet": "int32",
    "column": "int16",
    "row": "int32",  # row of the heading
    "heading": "object",
    "meaning": "object",  # field name, `ignore`, `other_test`, or empty: not understood
    "unit": "object",
    "number": "int32",  # of the column in its table; differs from `column` where the table lies on its side
    "at": "int32",  # row of its heading in its table
    "how": "object",  # one clause on how it was understood, empty where plain
    "why": "object",  # what speaks for the meaning, in clauses
    "other": "object",  # what it could also mean, empty where it is sure
    "other_why": "object",  # what speaks for that
    "margin": "float64",  # how far that lies behind, in log-odds
    "samples": "object",  # its first three distinct cells
}
ROWS = {  # every row that was read as (part of) a test
    "sheet": "int32",
    "row": "int32",
    "test": "int32",
    "column": "int16",  # of the test, where its table lies on its side; else -1
}
PASSED_OVER = {
    "sheet": "int32",
    "row": "int32",
    "reason": "object",
    "text": "object",
    "holds_reading": "bool",
}
UNSETTLED = {  # what leaves a test unclear whatever its readings say: a cell that was heard, a column that is undecided
    "test": "int32",
    "code": "object",  # of findings.toml
    "message": "object",
    "sheet": "int32",
    "row": "int32",
    "column": "int16",
}
POINTED = {  # where a field of a test stands, of tables on their side and of all but the first of their sheet
    "test": "int32",
    "field": "object",
    "row": "int32",
    "column": "int16",
}
CELLS = {"sheet": "int32", "row": "int32", "column": "int16", "kind": "object", "text": "object"}
TABLES = {  # the frames of `Tables`, by name
    "sheets": SHEETS, "columns": COLUMNS, "tests": TESTS, "readings": READINGS, "rows": ROWS,
    "passed_over": PASSED_OVER, "cells": CELLS, "unsettled": UNSETTLED, "pointed": POINTED,
}  # fmt: skip


def empty(dtypes: Mapping[str, str]) -> pd.DataFrame:
    """A frame with no rows and the columns of one of the tables above."""
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


@dataclass(frozen=True)
class Input:
    """One file as it came in. `name` is what reports print; `path` is never printed."""

    name: str
    path: Path | None  # None for standard input
    sha256: str
    bytes: int
    status: str  # "audited" or "not_audited"
    reason: str = ""


@dataclass(frozen=True)
class Tables:
    """Everything that intake read; see the dtypes above for the columns of each frame."""

    inputs: tuple[Input, ...]
    sheets: pd.DataFrame
    columns: pd.DataFrame
    tests: pd.DataFrame
    readings: pd.DataFrame
    rows: pd.DataFrame
    passed_over: pd.DataFrame
    cells: pd.DataFrame
    unsettled: pd.DataFrame
    slots: tuple[Slot, ...]
    vocabulary: Texts
    pointed: pd.DataFrame = field(default_factory=lambda: empty(POINTED))

    def __post_init__(self) -> None:
        """Hold each table to its columns and dtypes. Raises TypeError for a breach: a fault of this program."""
        for name, dtypes in TABLES.items():
            of_frame = getattr(self, name).dtypes.items()
            found = {str(column): str(dtype).replace("str", "object") for column, dtype in of_frame}  # both are texts
            if found != dtypes:
                apart = sorted(set(found.items()) ^ set(dtypes.items()))
                raise TypeError(f"the table of {name} is not what tables.py says: {apart}")

    def texts(self, codes: Iterable[int] | pd.Series[Any] | npt.NDArray[Any]) -> Texts:
        """The texts that codes stand for, shape (n,)."""
        return self.vocabulary[np.asarray(codes)]

    @cached_property
    def places(self) -> tuple[tuple[str, str], ...]:
        """Name of each sheet and of its file."""
        files = [self.inputs[i].name for i in self.sheets["input"]]
        return tuple(zip(self.sheets["sheet"], files, strict=True))

    def column_of(self, field: str, sheets: npt.NDArray[Any]) -> npt.NDArray[np.int16]:
        """Column that holds `field` in each of these sheets, -1 where none does, shape (n,)."""
        holds = self.columns[self.columns["meaning"] == field].drop_duplicates("sheet")
        known = holds.set_index("sheet")["column"]
        return known.reindex(sheets).fillna(-1).to_numpy().astype(np.int16)

    def cells_of(self, field: str, tests: npt.NDArray[Any]) -> dict[str, npt.NDArray[Any]]:
        """Sheet, row and column where `field` of each of these tests stands, column -1 for nowhere; shape (n,) each."""
        sheet = self.tests["sheet"].to_numpy()[tests]
        row, column = self.tests["row"].to_numpy()[tests], self.column_of(field, sheet)
        mine = self.pointed[self.pointed["field"] == field].drop_duplicates("test").set_index("test").reindex(tests)
        known = mine["row"].notna().to_numpy()
        row[known], column[known] = mine["row"][known], mine["column"][known]
        return {"sheet": sheet, "row": row, "column": column}

    def text_fields(self, frame: pd.DataFrame) -> pd.DataFrame:
        """A copy of `frame` (tests or readings) with its codes turned into texts."""
        names = [n for n in (*TEXT_FIELDS, *WORDS_OF.values(), "text") if n in frame]
        return frame.assign(**{name: self.texts(frame[name]) for name in names})


class Vocabulary:
    """Collects the distinct texts of a run; code 0 is the empty text."""

    def __init__(self) -> None:
        self._codes = defaultdict[str, int](count(1).__next__, {"": 0})

    def code(self, text: str) -> int:
        """Code of one text, added if new."""
        return self._codes[text]

    def codes(self, texts: Iterable[str]) -> Codes:
        """Codes of many texts; give it distinct texts and index the result, not a million cells."""
        return np.fromiter(map(self._codes.__getitem__, texts), np.int32)

    def frozen(self) -> Texts:
        """The texts in order of their codes, shape (n,)."""
        out = np.empty(len(self._codes), dtype=object)
        out[:] = list(self._codes)
        return out
