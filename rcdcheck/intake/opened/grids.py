"""A sheet as a grid of cells, whatever kind of file it came from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import pandas as pd


def no_special() -> pd.DataFrame:
    """The table of special cells of a sheet that has none."""
    dtypes = {"row": "int64", "column": "int64", "kind": "object", "text": "object"}
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


@dataclass(frozen=True)
class Grid:
    """One sheet.

    cells: dtype object, columns 0 … n-1, index = row as the person sees it. Values: "" for blank, str, float, datetime,
        time, timedelta; never None, NaN, int or bool (TRUE and FALSE are texts).
    merged: (first row, first column, last row, last column), rows as in the index, columns from 0.
    special: row, column, kind (formula, formula_without_value, error, comment, hidden_row with column -1, hidden_column
        with row 0) and text.
    """

    sheet: str
    kind: str
    cells: pd.DataFrame
    hidden: bool = False
    saved_at: dt.datetime | None = None
    merged: tuple[tuple[int, int, int, int], ...] = ()
    special: pd.DataFrame = field(default_factory=no_special)
