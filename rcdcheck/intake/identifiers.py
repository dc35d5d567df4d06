"""Identifiers as typed: leading zeros kept, outer and no-break spaces gone, those a spreadsheet changed pointed at."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pandas as pd

from rcdcheck.intake.columns import TextColumn
from rcdcheck.intake.date_cells import months_by_name
from rcdcheck.intake.numerals import perhaps
from rcdcheck.intake.words import plain
from rcdcheck.records import Texts, as_typed

_POWER = re.compile(r"\d(?:[.,]\d+)?E[+-]\d{1,3}")
_DATE = re.compile(r"(?:(\d{1,2})-([^\W\d_]{3})|([^\W\d_]{3})-(\d{2}))")
_STORED_DATE = re.compile(r"\d{4}-\d\d-\d\d(?: \d\d:\d\d(?::\d\d)?)?")
EXACT_DIGITS = 1e15  # a stored number keeps 15 digits


def read_identifiers(cells: Texts) -> TextColumn:
    """Texts of a column of identifiers; a date or a power of ten in it is kept and pointed at.

    "Mar-03" is the naming scheme of a column where most identifiers look so, and a spreadsheet's doing where few do.
    """
    codes, distinct = pd.factorize(cells)
    rows = [_identifier(cell) for cell in distinct]
    dates = [
        problem == "identifier-turned-into-date" and isinstance(cell, str)
        for cell, (_, problem, _) in zip(distinct, rows, strict=True)
    ]
    if sum(dates) * 2 > sum(value != "" for value, _, _ in rows):
        rows = [(row[0], "", "") if date else row for row, date in zip(rows, dates, strict=True)]
    columns = [np.array([row[i] for row in rows], dtype=object)[codes] for i in range(3)]
    return TextColumn(*columns)


def _identifier(cell: object) -> tuple[str, str, str]:
    if isinstance(cell, dt.date):
        return (
            as_typed(cell),
            "identifier-turned-into-date",
            perhaps(f"{cell.day}-{cell.month}", f"{cell.month}-{cell.day}"),
        )
    if isinstance(cell, dt.time | dt.timedelta):
        return str(cell), "identifier-turned-into-date", ""
    text = _trimmed(as_typed(cell))
    if isinstance(cell, float):
        return text, ("identifier-turned-into-power" if abs(cell) >= EXACT_DIGITS else ""), ""
    if _POWER.fullmatch(text):
        return text, "identifier-turned-into-power", ""
    match = _DATE.fullmatch(text)
    if _STORED_DATE.fullmatch(text) or (match and plain(match[2] or match[3]) in months_by_name()):
        return text, "identifier-turned-into-date", _before_the_spreadsheet(match)
    return ("", "", "") if text and not text.strip("-–—") else (text, "", "")


def _before_the_spreadsheet(match: re.Match[str] | None) -> str:
    if match is None:
        return ""
    month = months_by_name()[plain(match[2] or match[3])]
    number = (match[1] or match[4]).lstrip("0") or "0"
    return perhaps(f"{number}-{month}", f"{month}-{number}")


def _trimmed(text: str) -> str:
    kept = re.sub("[\u200b\u200c\u200d\u2060\ufeff\u00ad]", "", text)
    return re.sub("[\u00a0\u2007\u202f\\s]+", " ", kept).strip()
