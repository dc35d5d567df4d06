"""Cells as a person sees them: the letters of a column, the text of a value."""

from __future__ import annotations

import datetime as dt


def column_letters(column: int) -> str:
    """Letters of a column counted from 0: 0 is A, 26 is AA."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def cell_address(row: int, column: int) -> str:
    """`F12`: row as the person sees it, column counted from 0."""
    return f"{column_letters(column)}{row}"


NO_HEADING = "(no heading)"  # what a column without one is called; --column names it by its letters


def as_typed(value: object) -> str:
    """A cell as a person would see it: 28.0 is `28`, a date is ISO, None is empty."""
    if isinstance(value, str):  # most are
        return value
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.isoformat(" ", "minutes") if value.time() != dt.time() else value.date().isoformat()
    return str(value)
