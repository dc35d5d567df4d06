"""Workbooks, opened by a child process, put together into grids."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.errors import InputError
from rcdcheck.intake.opened.children import SECONDS, Children, TooLongError
from rcdcheck.intake.opened.grids import Coded, Grid, no_special


def read_workbook(content: bytes, kind: str, children: Children) -> list[Grid]:
    """All sheets of a workbook; raises InputError with a sentence where it cannot be read."""
    try:
        answer = children.ask(content, kind)
    except TooLongError:
        raise InputError(f"it took more than {SECONDS} s to open, so it was given up. {_ADVICE}") from None
    if answer is None:
        raise InputError(f"it could not be opened: it is damaged, or built to exhaust memory. {_ADVICE}")
    if "refused" in answer:
        raise InputError(answer["refused"])
    if "error" in answer:
        raise InputError(
            f"it is a workbook that is damaged or was cut off while copying ({answer['error']}). {_ADVICE}"
        )
    saved_at = dt.datetime.fromisoformat(answer["saved_at"]) if answer["saved_at"] else None
    return [_grid(sheet, kind, saved_at) for sheet in answer["sheets"]]


_ADVICE = "Copy it again, or open it in a spreadsheet program and save the sheet of readings alone as a new .xlsx."


def _grid(sheet: dict[str, Any], kind: str, saved_at: dt.datetime | None) -> Grid:
    columns = tuple(_column(c) for c in sheet["columns"])
    names = ["row", "column", "kind", "text"]
    special = pd.DataFrame(sheet["special"], columns=names) if sheet["special"] else no_special()
    merged = tuple(tuple(m) for m in sheet["merged"])
    numbers = np.arange(1, sheet["rows"] + 1)
    return Grid(sheet["name"], kind, columns, numbers, sheet["hidden"], saved_at, merged, special)


def _column(told: dict[str, Any]) -> Coded:
    """A column from what the child says of it (`workbook_child._column`)."""
    code_at = np.zeros(len(told["same_as"]), dtype=np.int32)
    values = [_value(v) for v in told["values"]]
    distinct = np.empty(len(values) + 1, dtype=object)
    distinct[0], distinct[1:] = "", values
    code_at[told["first"]] = [0 if v == "" else i for i, v in enumerate(values, 1)]
    return Coded(code_at[np.array(told["same_as"], dtype=np.int64)], distinct)


def _value(told: Any) -> object:
    if not isinstance(told, dict):
        return told
    if "at" in told:
        return dt.datetime.fromisoformat(told["at"]).replace(tzinfo=None)
    return dt.time.fromisoformat(told["clock"]) if "clock" in told else dt.timedelta(seconds=told["seconds"])
