"""Identifiers as typed: leading zeros kept, outer and no-break spaces gone, those a spreadsheet changed pointed at."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.distinct import arrays
from rcdcheck.intake.cells.numerals import perhaps
from rcdcheck.intake.cells.phrases import numbered, plain
from rcdcheck.intake.opened.grids import Coded, coded
from rcdcheck.tables import Mask, Texts

_POWER = re.compile(r"\d(?:[.,]\d+)?E[+-]\d{1,3}")
_DATE = re.compile(r"(?:(\d{1,2})-([^\W\d_]{3})|([^\W\d_]{3})-(\d{2}))")
_STORED_DATE = re.compile(r"\d{4}-\d\d-\d\d(?: \d\d:\d\d(?::\d\d)?)?")
_NOT_PLAIN = re.compile(  # something to trim, or something that a spreadsheet made
    r"^(?!(?![nN]/[aA]$|\d{1,2}-[A-Za-z]{3}$|[A-Za-z]{3}-\d\d$|\d{4}-\d\d-\d\d|\d(?:[.,]\d+)?E[+-])"
    r"[\w./#+]+(?:[ -][\w./#+]+)*$)",
    re.ASCII,
)
_TO_DATE, _TO_POWER = "identifier-turned-into-date", "identifier-turned-into-power"
EXACT_DIGITS = 1e15  # a stored number keeps 15 digits


@dataclass(frozen=True)
class IdentifierColumn:
    """value: what each cell says; problem: finding code, suggestion: what was perhaps meant, shapes (n,)."""

    value: Coded
    problem: Texts
    suggestion: Texts


def read_identifiers(cells: Coded) -> IdentifierColumn:
    """Texts of a column of identifiers; a date or a power of ten in it is kept and pointed at.

    "Mar-03" is the naming scheme of a column where most identifiers look so, and a spreadsheet's doing where few do.
    """
    codes, used = pd.factorize(cells.codes)
    distinct = cells.distinct[used]
    value, problem, suggestion = (
        distinct.copy(),
        np.full(len(distinct), "", dtype=object),
        np.full(len(distinct), "", dtype=object),
    )
    shape, shapes = cells.shapes
    rest = np.flatnonzero(_to_look_at(shapes)[shape[used]])
    rows = [_identifier(cell) for cell in distinct[rest]]
    value[rest], problem[rest], suggestion[rest] = arrays(rows, ("object",) * 3, np.arange(len(rows)))
    count = np.bincount(codes, minlength=len(distinct))
    date_like = rest[[isinstance(distinct[i], str) and problem[i] == _TO_DATE for i in rest]]
    if count[date_like].sum() * 2 > count[value != ""].sum():
        problem[date_like], suggestion[date_like] = "", ""
    changed = (value[rest] != distinct[rest]).any()
    return IdentifierColumn(coded(value).taken(codes) if changed else cells, problem[codes], suggestion[codes])


def _to_look_at(shapes: Texts) -> Mask:
    """Which cells are no plain identifiers, told from their shapes, since any digit is like another here."""
    return np.array([type(c) is not str or "\n" in c or bool(_NOT_PLAIN.match(c)) for c in shapes], dtype=bool)


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
    if _STORED_DATE.fullmatch(text) or (match and plain(match[2] or match[3]) in numbered("months")):
        return text, _TO_DATE, _before_the_spreadsheet(match)
    named = text.strip("-–—") and text.lower() != "n/a"
    return (text if named else ""), "", ""


def _before_the_spreadsheet(match: re.Match[str] | None) -> str:
    if match is None:
        return ""
    month = numbered("months")[plain(match[2] or match[3])]
    number = (match[1] or match[4]).lstrip("0") or "0"
    return perhaps(f"{number}-{month}", f"{month}-{number}")


def _trimmed(text: str) -> str:
    kept = re.sub("[\u200b\u200c\u200d\u2060\ufeff\u00ad]", "", text)
    return re.sub("[\u00a0\u2007\u202f\\s]+", " ", kept).strip()
