"""Every error of a cell or column reaches the devices it may concern: what is wrong with a sheet never passes.

A cell that cannot be read leaves the tests of its row unclear; trouble of a whole column every test of its sheet, since
its meaning could change any of them. Where judging has a reason at the cell or column already, nothing is added.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.judging.court import Court
from rcdcheck.judging.reasons import REASONS
from rcdcheck.records import Mask, Outcome, State

# Cells whose trouble nothing but its finding carries; past a thousand in a sheet they are only counted, and any row's.
ONLY_FOUND = ("entry-not-understood", "error-cell", "formula-without-value", "value-outside-schema")


def error_reasons(court: Court, so_far: pd.DataFrame) -> pd.DataFrame:
    """Reasons for the errors that intake has raised and no other reason tells."""
    found = court.findings.frame()
    found = found[(found["severity"] == "error") & (found["sheet"] >= 0)]
    found = found[~found["code"].isin(court.tables.unsettled["code"].unique())]
    counted = found["row"] == np.iinfo(np.int32).max
    found = found[~counted | found["code"].isin(ONLY_FOUND)]
    parts = [_concerned(court, row) for row in found.itertuples()]
    if not parts:
        return pd.DataFrame({k: pd.Series(dtype=v) for k, v in REASONS.items()})
    told = pd.concat(parts, ignore_index=True)
    place = ["test", "column"]
    unread = court.tables.readings.loc[
        court.tables.readings["state"] == State.UNREADABLE, place
    ]  # verdicts tell of them
    known = pd.MultiIndex.from_frame(pd.concat([so_far[place], unread]))
    again = pd.MultiIndex.from_frame(told[place]).isin(known) & (told["column"] >= 0)
    return told[~again][list(REASONS)].astype(REASONS)


def _concerned(court: Court, found: Any) -> pd.DataFrame:
    """The tests of the finding's row, or all of its sheet where it is of no row of a test."""
    rows = court.tables.rows
    rows = rows[rows["sheet"] == found.sheet]
    own = rows[(rows["row"] == found.row) & ((rows["column"] < 0) | (rows["column"] == found.column))]
    one_cell = found.row == found.last_row and len(own)
    tests = (own if one_cell else rows)["test"].unique()
    return pd.DataFrame(
        {
            "test": tests,
            "code": found.code,
            "message": found.message,
            "outcome": int(Outcome.UNCLEAR),
            "sheet": found.sheet,
            "row": found.row,
            "column": found.column,
        }
    )


DATES = ("date-not-understood", "date-not-certain", "date-in-future", "date-too-early", "date-orders-mixed",
         "error-cell", "formula-without-value")  # fmt: skip


def lost_dates(court: Court) -> Mask:
    """Tests whose date could not be read, of devices that have others: which of them came last is not known."""
    tests = court.tables.tests
    undated = tests["tested_at"].isna().to_numpy()
    several = np.bincount(court.device, minlength=int(court.device.max(initial=-1)) + 1)[court.device] > 1
    found = court.findings.frame()
    found = found[found["code"].isin(DATES) & (found["column"] == _date_columns(court, found["sheet"].to_numpy()))]
    cells = found[found["row"] == found["last_row"]]
    here = pd.MultiIndex.from_frame(tests[["sheet", "row"]]).isin(pd.MultiIndex.from_frame(cells[["sheet", "row"]]))
    whole = tests["sheet"].isin(found.loc[found["row"] != found["last_row"], "sheet"]).to_numpy()
    result: Mask = undated & several & (here | whole)
    return result


def _date_columns(court: Court, sheets: npt.NDArray[np.int64]) -> npt.NDArray[np.int16]:
    columns = court.tables.column_of("tested_at", sheets)
    return np.where(columns < 0, np.iinfo(np.int16).max, columns).astype(np.int16)
