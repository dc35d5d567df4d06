"""The account of every row of a sheet: how many are headings, tests or passed over, and what those passed over hold."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import READING, Kind, grammars
from rcdcheck.intake.understood.row_kinds import RowKind
from rcdcheck.intake.understood.sheet import Understood
from rcdcheck.numbering import distinct_codes
from rcdcheck.tables import Mask


def account_of(number: int, sense: Understood) -> dict[str, Any]:
    """One row of `Tables.sheets`: how many rows of a sheet are what; `number`: of its file."""
    kinds = sense.kinds
    return {
        "input": number,
        "sheet": sense.grid.sheet,
        "kind": sense.grid.kind,
        "hidden": sense.grid.hidden,
        "saved_at": pd.Timestamp(sense.grid.saved_at) if sense.grid.saved_at else pd.NaT,
        "non_blank": int((kinds != RowKind.BLANK).sum()),
        "heading": int((kinds == RowKind.HEADING).sum()),
        "test": int((kinds == RowKind.TEST).sum()),
        "passed_over": int((kinds >= RowKind.SECTION).sum()),
        "reason": sense.reason,
    }


def no_table(sense: Understood, grid: Grid) -> Understood:
    """The sheet as one of notes, whatever sense its cells would make as a table."""
    full = np.array([any(cell != "" for cell in grid.row(at)) for at in range(len(grid.numbers))], dtype=bool)
    kinds = np.where(full, RowKind.NOTE, RowKind.BLANK).astype(np.int8)
    reason = "it holds the notes of the workbook to type into"
    return replace(sense, grid=grid, full=full, tables=(), rows=(), facts=(), kinds=kinds, reason=reason)


def own_notes(grid: Grid) -> bool:
    """Whether a sheet is the notes of the workbook to type into, whose examples are no readings."""
    begin = str(data.document("test-sheet.json")["notes"])
    return any(str(grid.cell(at, 0)).startswith(begin) for at in range(min(3, len(grid.numbers))))


def passed_over(sheet: int, sense: Understood, reason: str) -> pd.DataFrame:
    """Rows passed over; title lines whose facts were read hold no lost readings."""
    grid, kinds = sense.grid, sense.kinds
    at = np.flatnonzero(kinds >= RowKind.SECTION)
    rows = grid.numbers[at].astype(np.int32)
    texts = [" | ".join(as_typed(c) for c in grid.row(int(i)) if c != "")[:300] for i in at[:10_000]]
    texts += [""] * (len(at) - len(texts))
    quiet = np.isin(kinds[at], (RowKind.CONTINUED, RowKind.RETESTS)) | np.isin(rows, list(sense.above))
    if grid.places is not None:
        rows = grid.places[at, 0, 0]
    return pd.DataFrame(
        {
            "sheet": np.full(len(at), sheet, dtype=np.int32),
            "row": rows,
            "reason": [reason or RowKind(k).reason for k in kinds[at]],
            "text": texts,
            "holds_reading": _hold_readings(grid, at, kinds[at] == RowKind.TOTAL) & ~quiet,
        }
    )


_DECIMAL = re.compile(r"(?<![\d.,/:-])\d+[.,]\d+(?![.,/:-]?\d)")  # 24.9, and not the date 24.11.2026


def _hold_readings(grid: Grid, at: npt.NDArray[np.int64], totals: Mask) -> Mask:
    """Rows at these places with a decimal in any cell, or with two cells or more that read as readings.

    Counts stand in rows of totals too, and are none."""
    decimals, readings = np.zeros(len(at), dtype=bool), np.zeros(len(at), dtype=np.int64)
    for column in grid.columns:
        codes = column.codes[at]
        here = distinct_codes(codes)
        holds, reads = np.zeros(len(column.distinct), dtype=bool), np.zeros(len(column.distinct), dtype=bool)
        holds[here] = [_DECIMAL.search(as_typed(column.distinct[i])) is not None for i in here]
        reads[here] = [bool(grammars(column.distinct[i]) & (READING | Kind.MILLISECONDS)) for i in here]
        decimals |= holds[codes]
        readings += reads[codes]
    return decimals | ((readings >= 2) & ~totals)
