"""Identifiers as typed: leading zeros kept, outer and no-break spaces gone, those a spreadsheet changed pointed at."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pandas as pd

from rcdcheck.intake.cells.date_cells import months_by_name
from rcdcheck.intake.cells.distinct import TextColumn, arrays
from rcdcheck.intake.cells.numerals import perhaps
from rcdcheck.intake.cells.words import plain
from rcdcheck.records import Texts, as_typed

_POWER = re.compile(r"\d(?:[.,]\d+)?E[+-]\d{1,3}")
_DATE = re.compile(r"(?:(\d{1,2})-([^\W\d_]{3})|([^\W\d_]{3})-(\d{2}))")
_STORED_DATE = re.compile(r"\d{4}-\d\d-\d\d(?: \d\d:\d\d(?::\d\d)?)?")
_PLAIN = re.compile(  # nothing to trim, nothing that a spreadsheet made
    r"(?![nN]/[aA]$|\d{1,2}-[A-Za-z]{3}$|[A-Za-z]{3}-\d\d$|\d{4}-\d\d-\d\d|\d(?:[.,]\d+)?E[+-])"
    r"[\w./#+]+(?:[ -][\w./#+]+)*",
    re.ASCII,
)
_TO_DATE, _TO_POWER = "identifier-turned-into-date", "identifier-turned-into-power"
EXACT_DIGITS = 1e15  # a stored number keeps 15 digits


def read_identifiers(cells: Texts) -> TextColumn:
    """Texts of a column of identifiers; a date or a power of ten in it is kept and pointed at.

    "Mar-03" is the naming scheme of a column where most identifiers look so, and a spreadsheet's doing where few do.
    """
    value, problem, suggestion = (
        cells.copy(),
        np.full(len(cells), "", dtype=object),
        np.full(len(cells), "", dtype=object),
    )
    rest = np.flatnonzero([type(c) is not str or _PLAIN.fullmatch(c) is None for c in cells])
    codes, distinct = pd.factorize(cells[rest])
    rows = [_identifier(cell) for cell in distinct]
    value[rest], problem[rest], suggestion[rest] = arrays(rows, ("object",) * 3, codes)
    date_like = np.isin(codes, [i for i, c in enumerate(distinct) if isinstance(c, str) and rows[i][1] == _TO_DATE])
    if date_like.sum() * 2 > (value != "").sum():
        problem[rest[date_like]], suggestion[rest[date_like]] = "", ""
    return TextColumn(value, problem, suggestion)


def _identifier(cell: object) -> tuple[str, str, str]:
    if isinstance(cell, dt.date):
        return (
            as_typed(cell),
            _TO_DATE,
            perhaps(f"{cell.day}-{cell.month}", f"{cell.month}-{cell.day}"),
        )
    if isinstance(cell, dt.time | dt.timedelta):
        return str(cell), _TO_DATE, ""
    text = _trimmed(as_typed(cell))
    if isinstance(cell, float):
        return text, (_TO_POWER if abs(cell) >= EXACT_DIGITS else ""), ""
    if _POWER.fullmatch(text):
        return text, _TO_POWER, ""
    match = _DATE.fullmatch(text)
    if _STORED_DATE.fullmatch(text) or (match and plain(match[2] or match[3]) in months_by_name()):
        return text, _TO_DATE, _before_the_spreadsheet(match)
    named = text.strip("-–—") and text.lower() != "n/a"
    return (text if named else ""), "", ""


def _before_the_spreadsheet(match: re.Match[str] | None) -> str:
    if match is None:
        return ""
    month = months_by_name()[plain(match[2] or match[3])]
    number = (match[1] or match[4]).lstrip("0") or "0"
    return perhaps(f"{number}-{month}", f"{month}-{number}")


def _trimmed(text: str) -> str:
    kept = re.sub("[\u200b\u200c\u200d\u2060\ufeff\u00ad]", "", text)
    return re.sub("[\u00a0\u2007\u202f\\s]+", " ", kept).strip()
