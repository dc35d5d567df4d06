"""Every error of a cell or column reaches the devices it may concern: what is wrong with a sheet never passes.

A cell that cannot be read leaves the tests of its row unclear; trouble of a whole column every test of its sheet, since
its meaning could change any of them. Where judging has a reason at the cell or column already, nothing is added.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.findings import THE_REST, catalogue
from rcdcheck.judging.grounds import Grounds, no_reasons
from rcdcheck.judging.reasons import REASONS
from rcdcheck.tables import Mask
from rcdcheck.terms import Outcome, State

OF_CELLS = ("decimal-sign-undecided",)  # told once for a column, of cells that are unreadable readings themselves


def error_reasons(grounds: Grounds, so_far: pd.DataFrame) -> pd.DataFrame:
    """Reasons for the errors that intake has raised and no other reason tells."""
    found = grounds.findings.frame()
    found = found[(found["severity"] == "error") & (found["sheet"] >= 0)]
    if not len(found):
        return no_reasons()
    found = pd.concat([found[found["row"] != THE_REST], _only_counted(grounds)], ignore_index=True)
    found = found[~found["code"].isin(grounds.tables.unsettled["code"].unique()) & ~_of_cells(grounds, found)]
    cells = found[found["row"] == found["last_row"]].reset_index(names="finding")
    rows = grounds.tables.rows
    own = _of_tests(grounds, cells.rename(columns={"test": "test_found"}))
    whole = found[~found.index.isin(own["finding"])].drop_duplicates(["sheet", "code", "column"])
    everyone = whole.drop(columns="test").merge(rows[["sheet", "test"]].drop_duplicates(), on="sheet")
    told = pd.concat([own, everyone], ignore_index=True).assign(outcome=int(Outcome.UNCLEAR))
    told = told.drop_duplicates(["test", "code", "column"])
    place = ["test", "column"]
    unread = grounds.tables.readings.loc[
        grounds.tables.readings["state"] == State.UNREADABLE, place
    ]  # verdicts tell of them
    known = pd.MultiIndex.from_frame(pd.concat([so_far[place], unread]))
    again = pd.MultiIndex.from_frame(told[place]).isin(known) & (told["column"] >= 0)
    same = ["test", "code"]  # what judging has found itself, in a sheet without the column that it speaks of
    again |= (told["column"] < 0) & pd.MultiIndex.from_frame(told[same]).isin(pd.MultiIndex.from_frame(so_far[same]))
    return told.loc[~again, list(REASONS)].astype(REASONS)


def _only_counted(grounds: Grounds) -> pd.DataFrame:
    """The errors past a thousand in a sheet, which are counted and not listed, each at its cell, but for those of
    readings that cannot be read: these are told by their verdicts, and may be half of a sheet."""
    rest = grounds.findings.unlisted()
    rest = rest[(rest["severity"] == "error") & (rest["sheet"] >= 0)]
    unread = grounds.tables.readings[grounds.tables.readings["state"] == State.UNREADABLE]
    sheet = grounds.tables.tests["sheet"].to_numpy()[unread["test"]]
    told = np.isin(_places(rest["sheet"], rest), _places(sheet, unread))
    return rest[~told].assign(message=rest["code"].map(lambda code: catalogue()[code].why), typed="", suggestion="")


def _places(sheet: npt.ArrayLike, cells: pd.DataFrame) -> npt.NDArray[np.int64]:
    """One number for each cell of sheet, row and column."""
    row, column = (cells[name].to_numpy(np.int64) for name in ("row", "column"))
    return np.asarray(sheet, dtype=np.int64) << 48 | row << 16 | column + 1


def _of_cells(grounds: Grounds, found: pd.DataFrame) -> Mask:
    """Findings on a column whose cells are unreadable readings themselves: they concern no other device."""
    unread = grounds.tables.readings[grounds.tables.readings["state"] == State.UNREADABLE]
    sheet = grounds.tables.tests["sheet"].to_numpy()[unread["test"]]
    held = pd.MultiIndex.from_arrays([sheet, unread["column"]])
    here = pd.MultiIndex.from_frame(found[["sheet", "column"]]).isin(held)
    result: Mask = found["code"].isin(OF_CELLS).to_numpy() & here
    return result


def _of_tests(grounds: Grounds, cells: pd.DataFrame) -> pd.DataFrame:
    """The cells with each test that they are of: by their reading or the field that stands there, else by their row, or
    by their column where a sheet lies on its side or holds cards."""
    rows, readings = grounds.tables.rows, grounds.tables.readings
    readings = readings.loc[readings["row"].isin(cells["row"]), ["test", "row", "column"]]
    readings = readings.assign(sheet=grounds.tables.tests["sheet"].to_numpy()[readings["test"]])
    pointed = grounds.tables.pointed
    pointed = pointed.assign(sheet=grounds.tables.tests["sheet"].to_numpy()[pointed["test"]])
    both = pd.concat([readings, pointed], ignore_index=True)[["sheet", "row", "column", "test"]].drop_duplicates()
    read = cells.merge(both, on=["sheet", "row", "column"])
    rest = cells[~cells["finding"].isin(read["finding"])]
    upright, turned = rows[rows["column"] < 0], rows[rows["column"] >= 0]
    by_row = rest.merge(upright[["sheet", "row", "test"]], on=["sheet", "row"])
    by_column = rest.merge(turned[["sheet", "column", "test"]], on=["sheet", "column"])
    return pd.concat([read, by_row, by_column], ignore_index=True)


DATES = ("date-not-understood", "date-not-certain", "date-in-future", "date-too-early", "date-orders-mixed",
         "error-cell", "formula-without-value")  # fmt: skip


def lost_dates(grounds: Grounds) -> Mask:
    """Tests whose date could not be read, of devices that have others: which of them came last is not known."""
    tests = grounds.tables.tests
    undated: Mask = tests["tested_at"].isna().to_numpy()
    if not undated.any():
        return undated
    several = np.bincount(grounds.device)[grounds.device] > 1
    found = grounds.findings.frame()
    found = found[found["code"].isin(DATES)]
    place = pd.DataFrame(grounds.tables.cells_of("tested_at", np.arange(len(tests))))
    rest = grounds.findings.unlisted()
    cells = pd.concat([one.loc[one["code"].isin(DATES), list(place)] for one in (found, rest)])
    here = pd.MultiIndex.from_frame(place).isin(pd.MultiIndex.from_frame(cells))
    found = found[found["column"] == _date_columns(grounds, found["sheet"].to_numpy())]
    whole = tests["sheet"].isin(found.loc[found["row"] != found["last_row"], "sheet"]).to_numpy()
    result: Mask = undated & several & (here | whole)
    return result


def _date_columns(grounds: Grounds, sheets: npt.NDArray[np.int64]) -> npt.NDArray[np.int16]:
    columns = grounds.tables.column_of("tested_at", sheets)
    return np.where(columns < 0, np.iinfo(np.int16).max, columns).astype(np.int16)
