"""Where things stand: file, sheet and cell for every row of a list, and the rows of our own sheets for links."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import cell_address
from rcdcheck.audits import Audit
from rcdcheck.findings import THE_REST
from rcdcheck.reports.excel.tables import Linked, Measure

EMPTY = "An empty cell means that the sheets do not say."
FIRST = 5  # row of the first entry of a sheet with a title
CHUNK = 5_000  # rows that are put together at a time


class Places:
    """Names of file and sheet by number of sheet; -1 is none."""

    def __init__(self, audit: Audit) -> None:
        sheets = audit.tables.sheets
        names = [audit.tables.inputs[number].name for number in sheets["input"]]
        self._files = np.array([*names, ""], dtype=object)
        self._sheets = np.array([*sheets["sheet"], ""], dtype=object)

    def files(self, sheets: npt.NDArray[Any]) -> list[str]:
        """File of each sheet number."""
        return self._files[sheets].tolist()

    def sheets(self, sheets: npt.NDArray[Any]) -> list[str]:
        """Name of each sheet; empty for delimited text."""
        return self._sheets[sheets].tolist()


def cell(row: int, column: int, last_row: int = 0) -> str:
    """`F12`, `F5:F80` for a whole block, `row 12`, or empty."""
    if row <= 0 or row == THE_REST:
        return ""
    if column < 0:
        return f"rows {row} to {last_row}" if last_row > row else f"row {row}"
    first = cell_address(row, column)
    return f"{first}:{cell_address(last_row, column)}" if last_row > row else first


def device_link(name: object, number: int) -> Linked:
    """The name of a device, leading to its row; without a way where it is none of the list."""
    return Linked(name, f"'Devices'!A{FIRST + number}" if number >= 0 else "")


def moment(value: Any) -> Measure | None:
    """A date, with its time of day where it has one."""
    if pd.isna(value):
        return None
    at = pd.Timestamp(value).to_pydatetime()
    return Measure(at, "date" if at.time() == dt.time() else "stamp")


def chunks(listed: npt.NDArray[np.int64]) -> Iterator[npt.NDArray[np.int64]]:
    """Slices of a list of row numbers, so that a million rows are never texts at once."""
    for start in range(0, len(listed), CHUNK):
        yield listed[start : start + CHUNK]
