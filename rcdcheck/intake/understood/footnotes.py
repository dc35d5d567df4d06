"""Footnotes: a mark in a cell of a row ("24 (a)", "yes*") whose text stands in a line of its own ("(a) loads left on").

The cell is read without its mark, and what the line says is said of each row that bears the mark.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Coded, Grid, coded

MOST = 40  # lines of footnotes of a sheet
_LINE = re.compile(r"\s*(\(\w{1,2}\)|\[\w{1,2}\]|\d{1,2}\)|\*{1,3}|[†‡#])\s*[:=]?\s*([^\W\d_].{3,})")

# "a  loads left on": a letter, of which cells of a column of their own hold nothing else
_LETTERED = re.compile(r"\s*([a-z])(?:[.):]|\s\s|\t)\s*([^\W\d_].{3,})", re.IGNORECASE)

Notes = dict[int, str]  # by position in the grid


def notes_apart(grid: Grid) -> tuple[Grid, Notes]:
    """The sheet without the marks of its footnotes, and what these say of each of its rows."""
    alone = _lines_of_one_cell(grid)
    lines, lettered = _lines(alone, _LINE), _lines(alone, _LETTERED)
    if not lines and len(lettered) < 2:
        return grid, {}
    notes: dict[int, dict[str, None]] = {}
    columns = []
    for column in grid.columns:
        marked = {code: _marked(column.distinct[code], lines) for code in range(1, len(column.distinct))}
        marked = {code: mark for code, mark in marked.items() if mark}
        for code, mark in marked.items():
            for at in np.flatnonzero(column.codes == code).tolist():
                if at != lines[mark][0]:
                    notes.setdefault(at, {})[lines[mark][1]] = None
        columns.append(_without(column, marked, lines))
        for at, mark in _pointing(column, lettered).items() if len(lettered) > 1 else ():
            notes.setdefault(at, {})[lettered[mark][1]] = None
    if not notes:
        return grid, {}
    return replace(grid, columns=tuple(columns)), {at: "; ".join(texts) for at, texts in notes.items()}


def _lines_of_one_cell(grid: Grid) -> list[tuple[int, str]]:
    """Position and text of the last lines that hold one cell; a cell may be coloured only."""
    alone = np.flatnonzero(grid.filled.sum(axis=1) == 1)[-MOST:].tolist()
    return [(at, next((as_typed(cell) for cell in grid.row(at) if cell != ""), "")) for at in alone]


def _lines(alone: Sequence[tuple[int, str]], form: re.Pattern[str]) -> dict[str, tuple[int, str]]:
    """Position and text of each footnote by its mark, folded: lines that begin with a mark."""
    found: dict[str, tuple[int, str]] = {}
    for at, text in alone:
        if line := form.fullmatch(text):
            found.setdefault(line[1].casefold(), (at, line[2].strip()))
    return found


def _pointing(column: Coded, lettered: dict[str, tuple[int, str]]) -> dict[int, str]:
    """Positions and marks of cells that hold the letter of a footnote, in a column that holds nothing else there."""
    codes = {i: as_typed(cell).strip().casefold() for i, cell in enumerate(column.distinct)}
    told = [i for i, text in codes.items() if text in lettered]
    at = np.flatnonzero(np.isin(column.codes, told))
    if not len(at) or np.setdiff1d(column.codes[at[0] : at[-1] + 1], [0, *told]).size:
        return {}
    return {i: codes[column.codes[i]] for i in at.tolist()}


def _marked(cell: object, lines: dict[str, tuple[int, str]]) -> str:
    """The mark of a footnote at the end of a cell; a letter in brackets stands apart from what it marks."""
    text = as_typed(cell).rstrip() if isinstance(cell, str) else ""
    ends = [mark for mark in lines if text.casefold().endswith(mark) and text != lines[mark][1]]
    longest = max(ends, key=len, default="")
    before = text[: len(text) - len(longest)]
    return longest if longest and (not before or before[-1].isspace() or longest[0] in "*†‡#") else ""


def _without(column: Coded, marked: dict[int, str], lines: dict[str, tuple[int, str]]) -> Coded:
    """The column without marks; one that holds nothing else between its marks holds what these say ("Note": "2)")."""
    if not marked:
        return column
    distinct = column.distinct.copy()
    at = np.flatnonzero(np.isin(column.codes, list(marked)))
    left = {code: as_typed(distinct[code]).rstrip()[: -len(mark)].rstrip() for code, mark in marked.items()}
    alone = not any(left.values()) and not np.setdiff1d(column.codes[at[0] : at[-1] + 1], [0, *marked]).size
    for code, mark in marked.items():
        distinct[code] = lines[mark][1] if alone and len(at) > 1 else left[code]
    return coded(distinct[column.codes])
