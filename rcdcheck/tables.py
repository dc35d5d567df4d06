"""What intake read, as tables; models.py says what each column holds.

Texts of a run live once in one vocabulary; the tables hold int32 codes into it (0 is the empty text), so that
a million rows group and compare as whole numbers. `Tables.texts` turns codes back.
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

from rcdcheck import models
from rcdcheck.sheet_fields import TEXT_FIELDS, WORDS_OF
from rcdcheck.terms import Slot

Texts = npt.NDArray[np.object_]
Codes = npt.NDArray[np.int32]
Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# columns of each table and their dtypes, to make a frame of
SHEETS, COLUMNS, TESTS, READINGS, ROWS, PASSED_OVER, CELLS, UNSETTLED, POINTED = (
    models.dtypes(models.INTAKE[name])
    for name in ("sheets", "columns", "tests", "readings", "rows", "passed_over", "cells", "unsettled", "pointed")
)


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
    """Everything that intake read; models.py has the columns of each frame."""

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
